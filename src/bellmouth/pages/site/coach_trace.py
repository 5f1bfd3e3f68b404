"""What the coach's picture shows: pedal, key and engine speed as they come, against the windows.

It stands between the observer and the coach, hands everything on, and keeps what can be drawn.
"""

import math
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from bellmouth.learning.allowed import Allowed
from bellmouth.learning.coach import Coach
from bellmouth.learning.evidence import Moment
from bellmouth.learning.live import PEDALS
from bellmouth.learning.session import ENDED

__all__ = ["CoachTrace"]

_KEPT, _PAST = 4000, 40
_KEY = {"key_on": 1.0, "key_off": 0.0}
_SPEED = "engine_speed"


@dataclass(frozen=True, slots=True)
class _Past:
    """A window that an action closed, and whether it lay inside."""

    window: Allowed
    done_s: float
    lost: bool


class CoachTrace:
    """A sink of the observer's before the coach; see :class:`bellmouth.learning.coach.Sink`.

    ``look`` is called with each round of readings, from the observer's thread; ``tell`` whenever
    there is something new to draw.
    """

    def __init__(self, look: Callable[[], None], tell: Callable[[], None] = lambda: None) -> None:
        self._look, self._tell = look, tell
        self._lock = threading.Lock()
        self._points: deque[tuple[int, str, float, float]] = deque(maxlen=_KEPT)
        self._past: deque[_Past] = deque(maxlen=_PAST)
        self._pedal = ""
        self._count = 0
        self.coach: Coach | None = None

    def _put(self, row: str, at_s: float, value: float) -> None:
        with self._lock:
            self._count += 1
            self._points.append((self._count, row, at_s, value))

    # What the observer tells.

    def acted(self, action: str, moment: Moment) -> None:
        """An action was seen: draw it, hand it on, and keep the window that it closed."""
        coach = self._coach
        if action in _KEY:
            self._put("key", _best_s(moment), _KEY[action])
        asked, lost = coach.session.follower.next, coach.session.lost
        windows = coach.allowed()
        coach.acted(action, moment)
        mine = (one for one in windows if one.place >= asked and one.action == action)
        window = next(mine, None)
        if window is not None and coach.session.follower.next > asked:
            failed = coach.session.lost is not None and lost is None
            with self._lock:
                self._past.append(_Past(window, _best_s(moment), failed))
        self._tell()

    def mark(self, event: str, moment: Moment | None = None) -> None:
        """See :class:`bellmouth.learning.coach.Sink`."""
        self._coach.mark(event, moment)
        self._tell()

    def reading(self, name: str, value: float, at_s: float) -> None:
        """A reading: the first pedal that speaks is the one that is drawn."""
        if name in PEDALS and self._pedal in ("", name):
            self._pedal = name
            self._put("pedal", at_s, value)
        elif name == _SPEED:
            self._put("speed", at_s, value)
        self._coach.reading(name, value, at_s)

    def seen_until(self, at_s: float) -> None:
        """See :class:`bellmouth.learning.coach.Sink`."""
        self._coach.seen_until(at_s)
        self._look()
        self._tell()

    @property
    def _coach(self) -> Coach:
        if self.coach is None:
            raise RuntimeError("the coach is set before anything is watched")
        return self.coach

    # What the page is told.

    def since(self, count: int) -> tuple[int, list[list[Any]]]:
        """How many points there are, and those after ``count``: row, time, value. [s]"""
        with self._lock:
            new = [[row, at, value] for number, row, at, value in self._points if number > count]
            return self._count, new

    def windows(self, say: Callable[[str], str]) -> list[dict[str, Any]]:
        """Windows behind and ahead as plain data; open ends are None. [s]"""
        coach = self._coach
        with self._lock:
            behind = list(self._past)
        closed = {one.window.place for one in behind}
        told = [_plain(one.window, say, one.done_s, lost=one.lost) for one in behind]
        if coach.session.phase in ENDED:
            return told
        ahead = [
            one for one in coach.allowed()
            if one.place not in closed
            and (one.place < 0 or one.place >= coach.session.follower.next)
        ]  # fmt: skip
        return told + [_plain(one, say) for one in ahead]


def _best_s(moment: Moment) -> float:
    return moment.best_s if math.isfinite(moment.low_s) else moment.high_s


def _plain(
    one: Allowed, say: Callable[[str], str], done_s: float | None = None, *, lost: bool = False
) -> dict[str, Any]:
    found = {
        name: value if not isinstance(value, float) or math.isfinite(value) else None
        for name, value in asdict(one).items()
        if name != "step"
    }
    return {**found, "say": say(one.step.say), "done_s": done_s, "lost": lost}
