"""Who sits in the live practice car when nobody else does: a helpful mechanic."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from bellmouth.practice.ignition import Action, Key

__all__ = ["COURSE", "Mechanic", "Seen", "Sitter"]

Lamp = Literal["off", "on", "blinking"]

#: What is held for how long after the start, 0 being idle. [rpm], [s]
COURSE: tuple[tuple[float, float], ...] = ((0.0, 60.0), (1500.0, 40.0), (2500.0, 40.0), (0.0, 40.0))
_KEY_ON_S = 8.0
_SETTLE_S = 1.0
_REACTION_S = 0.8
_PAUSE_S = 10.0  # from one try of the starter to the next


@dataclass(frozen=True)
class Seen:
    """What somebody in the driver's seat sees and hears."""

    key: Key
    running: bool
    speed_rpm: float
    lamp: Lamp
    plate_heard: bool


class Sitter(Protocol):
    """Somebody in the driver's seat; asked ten times a second of car time."""

    def act(self, now_s: float, seen: Seen) -> Sequence[Action]:
        """What to do next, each action at its own car time, now or later."""
        ...


class Mechanic:
    """Key on, a while with the engine off, start, idle, hold speeds, idle, and so on for ever.

    As soon as somebody asks for a speed (:meth:`ask`) the round is left and the asked speed is
    held until told otherwise; 0 is idle.

    Parameters
    ----------
    course
        Speeds and how long each is held, repeated for ever.
    key_on_s
        How long the key is on before the start. [s]
    waits
        Whether the engine is left off until somebody talks to the car, so that whoever comes sees
        it with the key on first.
    """

    def __init__(
        self,
        course: Sequence[tuple[float, float]] = COURSE,
        key_on_s: float = _KEY_ON_S,
        *,
        waits: bool = False,
    ) -> None:
        self._course = tuple(course)
        self._key_on_s = key_on_s
        self._began_s: float | None = None
        self._started_s: float | None = None
        self._tried_s: float | None = None
        self._asked: float | None = None
        self._answered: float | None = None
        self._asked_s = 0.0
        self._holds = 0.0
        self._visited_s: float | None = None if waits else 0.0

    def visited(self, now_s: float) -> None:
        """Somebody talks to the car. [s]"""
        if self._visited_s is None:
            self._visited_s = now_s

    def ask(self, rpm: float | None, now_s: float) -> None:
        """Hold this speed from now on, 0 for idle; None goes back to the round. [rpm]"""
        if rpm != self._asked:
            self._asked, self._asked_s = rpm, now_s

    def act(self, now_s: float, seen: Seen) -> Sequence[Action]:
        """See :class:`Sitter`."""
        if self._began_s is None:
            self._began_s = now_s
            return (Action(now_s + _SETTLE_S, "key", Key.ON),)
        if not seen.running:
            return self._start(now_s, seen)
        if self._started_s is None:
            self._started_s = now_s
        wanted = self._wanted(now_s)
        if wanted == self._holds:
            return ()
        self._holds = wanted
        return (Action(now_s, "hold_rpm", wanted),)

    def _start(self, now_s: float, seen: Seen) -> Sequence[Action]:
        self._started_s = None
        self._holds = 0.0
        if self._visited_s is None:
            return ()
        on_at = max((self._began_s or 0.0) + _SETTLE_S, self._visited_s)
        if self._tried_s is not None:
            on_at = max(on_at, self._tried_s + _PAUSE_S - self._key_on_s)
        if seen.key == Key.ON and now_s >= on_at + self._key_on_s:
            self._tried_s = now_s
            return (Action(now_s, "hold_rpm", 0.0), Action(now_s, "key", Key.START))
        return ()

    def _wanted(self, now_s: float) -> float:
        # Somebody who is asked acts a moment later, and holds on to what was until then.
        if now_s >= self._asked_s + _REACTION_S:
            self._answered = self._asked
        if self._answered is not None:
            return self._answered
        into = (now_s - (self._started_s or now_s)) % sum(s for _, s in self._course)
        for rpm, seconds in self._course:
            if into < seconds:
                return rpm
            into -= seconds
        return 0.0
