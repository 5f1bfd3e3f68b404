"""The answers to one request as they come in: which belong, which are stray, how long to wait."""

from dataclasses import dataclass, field

from bellmouth.bus.link import Answer, Losses
from bellmouth.bus.matching import fits, is_promise

__all__ = ["ADAPTER_MARGIN_S", "P2_S", "P2_STAR_S", "Gathering"]

P2_S = 0.05  # a controller answers within this: ISO 15765-4, from memory
P2_STAR_S = 5.0  # and within this after promising to: ISO 15765-4, from memory
# What the adapter, its driver and this machine may add, both ways. Our choice: slow serial and
# wireless adapters need tens of milliseconds, and waiting costs nothing where answers come.
ADAPTER_MARGIN_S = 0.15
_MOST_PROMISES = 6  # of one controller for one request; then it is taken to be stuck


@dataclass
class Gathering:
    """Answers to one request.

    Attributes
    ----------
    request
        What was asked.
    sent_s
        When. [s]
    to
        The only controller whose answer counts, or None for all.
    expect
        Enough answers, or None to wait for all there may be.
    losses
        Where strays are counted.
    margin_s
        What the adapter may add to the standard's times. [s]
    of_all
        Whether all were asked for what only ``to`` is to answer: the others' answers are no strays.
    """

    request: bytes
    sent_s: float
    to: int | None
    expect: int | None
    losses: Losses
    margin_s: float = ADAPTER_MARGIN_S
    of_all: bool = False
    answers: dict[int, Answer] = field(default_factory=dict)
    _promises: dict[int, int] = field(default_factory=dict)
    _until: dict[int, float] = field(default_factory=dict)

    def take(self, answer: Answer) -> None:
        """Sort in one whole message."""
        if self.is_of_another(answer):
            return
        belongs = self.to in (None, answer.source) and fits(self.request, answer.payload)
        if not belongs or answer.source in self.answers:
            self.losses.stray += 1
        elif is_promise(answer.payload):
            self._promise(answer)
        else:
            self.answers[answer.source] = answer
            self._until.pop(answer.source, None)

    def _promise(self, answer: Answer) -> None:
        source = answer.source
        self._promises[source] = self._promises.get(source, 0) + 1
        if self._promises[source] <= _MOST_PROMISES:
            self._until[source] = answer.received_s + P2_STAR_S + self.margin_s

    def is_of_another(self, answer: Answer) -> bool:
        """Whether it is what another controller says to a question that went to all."""
        return self.of_all and answer.source != self.to

    @property
    def is_complete(self) -> bool:
        """Whether nothing more needs to be waited for."""
        wanted = 1 if self.to is not None else self.expect
        return wanted is not None and len(self.answers) >= wanted

    @property
    def deadline_s(self) -> float:
        """When waiting ends, on the monotonic clock. [s]"""
        ordinary = self.sent_s + P2_S + self.margin_s
        return max([ordinary, *self._until.values()])
