"""What a practice controller says to a request, and when: the seam between car and wire.

The car (:mod:`bellmouth.practice.live`) answers whole messages; the wires
(:mod:`bellmouth.practice.slcan`, ``kline``, ``virtual``) carry them, each in its own frames.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

__all__ = ["Answering", "Node", "Reply"]


@dataclass(frozen=True)
class Reply:
    """A whole message, and how long after the request was complete it starts. [s], real time"""

    payload: bytes
    after_s: float


class Node(Protocol):
    """One controller of the car. ``address`` is 0x10 for the engine, 0x18 for the gearbox."""

    @property
    def address(self) -> int:
        """Diagnostic address; on 11-bit CAN node n answers on 0x7E8 + n."""
        ...

    def answer(self, payload: bytes, *, functional: bool) -> Sequence[Reply]:
        """Replies to a request, in order of time; none where it keeps silent.

        A functional request for something a controller has not got is met with silence, a
        physical one with a negative reply. Called from the wire's thread.
        """
        ...


class Answering(Protocol):
    """A car as a wire sees it."""

    @property
    def nodes(self) -> Sequence[Node]:
        """Its controllers, the engine's first."""
        ...

    @property
    def awake(self) -> bool:
        """Whether the ignition keeps the controllers awake; a sleeping car answers nothing."""
        ...
