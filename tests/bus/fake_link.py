"""A link with no wire: a stub car's answers at once, and whatever a test wants to go wrong."""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from bellmouth.bus.link import Answer, Exchange, Losses
from bellmouth.bus.matching import is_promise
from tests.bus.stub_car import StubCar

__all__ = ["FakeLink"]

Alter = Callable[[int, bytes, bytes], bytes | None]


@dataclass
class FakeLink:
    """Implements :class:`bellmouth.bus.link.Link`.

    ``alter(source, request, reply)`` gives what arrives of a reply; None loses it.
    """

    car: StubCar = field(default_factory=StubCar)
    alter: Alter = lambda _source, _request, reply: reply
    description: str = "ISO 15765-4, 11-bit, 500 kbit/s"
    losses: Losses = field(default_factory=Losses)
    sent: list[tuple[bytes, int | None]] = field(default_factory=list)
    is_closed: bool = False

    def exchange(
        self, payload: bytes, to: int | None = None, *, expect: int | None = None
    ) -> Exchange:
        self.sent.append((payload, to))
        sent_s = time.monotonic()
        answers: list[Answer] = []
        for node in self.car.nodes if self.car.awake else ():
            if to in (None, node.address):
                replies = [one.payload for one in node.answer(payload, functional=to is None)]
                answers += self._arriving(node.address, payload, replies)
        if not answers:
            self.losses.unanswered += 1
        return Exchange(sent_s, tuple(answers[:expect]))

    def _arriving(self, source: int, request: bytes, replies: Sequence[bytes]) -> list[Answer]:
        arrived = [self.alter(source, request, one) for one in replies if not is_promise(one)]
        return [Answer(source, one, time.monotonic()) for one in arrived if one is not None]

    def keep_alive(self) -> None:
        """Nothing."""

    def close(self) -> None:
        self.is_closed = True
