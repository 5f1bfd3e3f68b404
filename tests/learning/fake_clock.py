"""A clock that goes on only where somebody waits, and does what was planned on the way."""

import threading
from collections.abc import Callable

__all__ = ["Face", "FakeClock"]

from bellmouth.learning.cues import Cue


class FakeClock:
    """Time that nobody has to wait for. ``at`` plans a call; ``sleep`` is a computer's suspend."""

    def __init__(self, start_s: float = 100.0) -> None:
        self.time_s = start_s
        self.slept_s = 0.0
        self.held_up_s = 0.0
        self._plan: list[tuple[float, Callable[[], object]]] = []

    def at(self, time_s: float, work: Callable[[], object]) -> None:
        self._plan.append((time_s, work))
        self._plan.sort(key=lambda item: item[0])

    def now_s(self) -> float:
        return self.time_s

    def reading_s(self, real_s: float) -> float:
        return real_s

    def away_s(self) -> float:
        return self.slept_s

    def wait(self, until_s: float, woken: threading.Event) -> None:
        while self._plan and self._plan[0][0] <= until_s:
            time_s, work = self._plan.pop(0)
            self.time_s = max(self.time_s, time_s)
            work()
            if woken.is_set():
                return
        self.time_s = max(self.time_s, until_s) + self.held_up_s
        self.held_up_s = 0.0


class Face:
    """Keeps every cue that it is given."""

    def __init__(self) -> None:
        self.cues: list[Cue] = []

    def cue(self, cue: Cue) -> None:
        self.cues.append(cue)

    def said(self) -> list[str]:
        return [cue.text for cue in self.cues if cue.text]
