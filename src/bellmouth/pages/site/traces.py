"""Everything a capture reads, as it comes, for any number of viewers.

Samples are gathered into frames, each written as JSON once and shared by all who look; a viewer
that comes late, or comes back, begins with the recent past.
"""

import json
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping

from bellmouth.j1979.parameters import unit_of

__all__ = ["Traces"]

#: A frame holds at most so much time, so that a picture moves 20 times a second. [s]
_FRAME_S = 0.05
#: What a late viewer is shown, and what is kept for the download: hours of a quick car. [s], [rows]
_RECENT_S, _ROWS = 90.0, 500_000
_FRAMES = 4000


class Traces:
    """Samples of one capture. Safe to call from several threads."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._rows: deque[tuple[float, dict[str, float]]] = deque(maxlen=_ROWS)
        self._pending: list[tuple[float, dict[str, float]]] = []
        self._frames: deque[str] = deque(maxlen=_FRAMES)
        self._count = 0
        self._sealed = clock()
        self.newest: dict[str, float] = {}

    def heard(self, at_s: float, values: Mapping[str, float]) -> None:
        """Take a reading: its time since the beginning, and values by parameter. [s]"""
        with self._lock:
            row = (at_s, dict(values))
            self._rows.append(row)
            self._pending.append(row)
            self.newest.update(values)

    @property
    def count(self) -> int:
        """How many frames there have been."""
        self._seal()
        return self._count

    def since(self, count: int) -> tuple[int, list[str]]:
        """How many frames there are, and those after ``count``: JSON lists of time and values."""
        self._seal()
        with self._lock:
            first = self._count - len(self._frames)
            return self._count, [
                self._frames[index] for index in range(max(count - first, 0), len(self._frames))
            ]

    def recent(self) -> tuple[int, str]:
        """The recent past as one frame, and from which frame on the rest comes."""
        self._seal()
        with self._lock:
            last_s = self._rows[-1][0] if self._rows else 0.0
            rows = [row for row in self._rows if row[0] >= last_s - _RECENT_S]
            return self._count, _written(rows)

    def _seal(self) -> None:
        with self._lock:
            now = self._clock()
            if not self._pending or now - self._sealed < _FRAME_S:
                return
            self._frames.append(_written(self._pending))
            self._count += 1
            self._pending, self._sealed = [], now

    def csv(self) -> Iterator[str]:
        """All of it as a recording's own CSV, line by line."""
        with self._lock:
            rows = list(self._rows)
        names = sorted({name for _, values in rows for name in values})
        yield ",".join(["time [s]", *(f"{name} [{unit_of(name)}]" for name in names)]) + "\n"
        for at_s, values in rows:
            cells = (repr(values[name]) if name in values else "" for name in names)
            yield f"{at_s:.4f},{','.join(cells)}\n"


def _written(rows: list[tuple[float, dict[str, float]]]) -> str:
    return json.dumps([[round(at_s, 4), values] for at_s, values in rows], separators=(",", ":"))
