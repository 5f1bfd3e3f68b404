"""What carries requests to a car and its answers back, whatever the wire: CAN or K-line.

A payload is a whole message of SAE J1979 (:mod:`bellmouth.j1979.messages`): no lengths, frame
counters, headers or checksums; those are the link's business.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol, runtime_checkable

__all__ = [
    "Addressing",
    "Answer",
    "Exchange",
    "Link",
    "Losses",
    "Onward",
    "Pluggable",
    "Wakeful",
    "Woken",
]


@dataclass(frozen=True)
class Answer:
    """One controller's whole answer.

    Attributes
    ----------
    source
        Diagnostic address of the controller that answered: 0x10 is usually the engine's. On CAN
        with 11-bit identifiers 0x7E8 counts as 0x10, 0x7E9 as 0x11 and so on.
    payload
        The message, at least one byte. Promises of a later answer (negative, code 78) have been
        waited out and are not handed on.
    received_s
        When it was complete, on this machine's monotonic clock. [s]
    """

    source: int
    payload: bytes
    received_s: float


@dataclass(frozen=True)
class Exchange:
    """A request and all that came back in time; ``answers`` is empty where nobody answered."""

    sent_s: float
    answers: tuple[Answer, ...]


@dataclass(frozen=True)
class Woken:
    """When a car that must be woken came to: between two tries, on the monotonic clock. [s]

    Attributes
    ----------
    asleep_s
        When the last try began that nobody heard; minus infinity where there was none, or one
        that an awake car might have missed too.
    awake_s
        When the try that was heard was complete.
    """

    asleep_s: float
    awake_s: float


@dataclass
class Losses:
    """What went wrong so far, counted: every loss is said, none is guessed over.

    ``unanswered`` requests, ``cut`` messages whose frames did not all come in order, ``damaged``
    frames or checksums, ``stray`` messages nobody asked for, ``refused`` requests (negative
    replies), ``malformed`` whole answers whose length or content contradicts the standard,
    ``reopened`` how often the adapter had to be opened again.
    """

    unanswered: int = 0
    cut: int = 0
    damaged: int = 0
    stray: int = 0
    refused: int = 0
    malformed: int = 0
    reopened: int = 0
    seen: dict[str, int] = field(default_factory=dict)

    def total(self) -> int:
        """All of them together."""
        return (
            self.unanswered + self.cut + self.damaged + self.stray + self.refused
            + self.malformed + self.reopened
        )  # fmt: skip


class Link(Protocol):
    """A wire to a car. Errors of the adapter are raised as ``BusError``, one clear sentence."""

    @property
    def description(self) -> str:
        """Which standard at which speed, such as ``ISO 15765-4, 11-bit, 500 kbit/s``."""
        ...

    @property
    def losses(self) -> Losses:
        """Counted since the link was opened."""
        ...

    def exchange(
        self, payload: bytes, to: int | None = None, *, expect: int | None = None
    ) -> Exchange:
        """Send a request and gather the answers.

        Parameters
        ----------
        payload
            The request.
        to
            Address of one controller (physical), or None for all (functional).
        expect
            Stop as soon as this many controllers have answered, rather than waiting out the
            standard's time for more.
        """
        ...

    def keep_alive(self) -> None:
        """Keep the session up where the standard wants it (K-line); nothing on CAN."""
        ...

    def close(self) -> None:
        """Let go of the wire."""
        ...


@runtime_checkable
class Onward(Protocol):
    """A link that can put the next request on the wire while the last answer is worked on."""

    def exchange_onward(self, payload: bytes, to: int, then: bytes) -> Exchange:
        """:meth:`Link.exchange` with one controller, and ``then`` sent once its answer is in.

        Where the next exchange turns out to be another one, the answer to ``then`` is waited for
        and thrown away. It is not sent where there was no answer, or the link is not at rest.
        """
        ...


@runtime_checkable
class Addressing(Protocol):
    """A link that asks one controller on an identifier of its own, which not every one hears."""

    def ask_of_all(self, address: int) -> None:
        """Ask all whenever a controller is asked from here on, and take its answer alone."""
        ...


@runtime_checkable
class Pluggable(Protocol):
    """A link whose adapter may be pulled out and put back.

    ``when_away`` is called with True each time the adapter could not be opened again, and with
    False when it could. It must not ask anything.
    """

    when_away: Callable[[bool], None] | None


@runtime_checkable
class Wakeful(Protocol):
    """A link over which a car must be woken before it answers anything, as on a K line."""

    @property
    def woken(self) -> Woken | None:
        """When it was woken last, None where it never had to be."""
        ...
