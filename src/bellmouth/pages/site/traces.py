"""Everything a capture reads, as it comes, for any number of viewers.

Samples are gathered into frames. A frame, and every state of the capture, is written once as the
bytes of a server-sent event, and all viewers are sent those same bytes. No viewer has a queue:
each reads the one log at its own pace, so a slow one holds up nobody, and one that comes back goes
on after the last event it had. What the log no longer holds is told as such, never skipped.
"""

import json
import secrets
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from bellmouth.j1979.parameters import unit_of
from bellmouth.pages.site.paced import FRAME_S, Paced

__all__ = ["Traces"]

#: What a late viewer is shown, and what is kept for the download: hours of a quick car. [s], [rows]
_RECENT_S, _ROWS = 90.0, 500_000
#: Who was away may come back to this much: a quarter of an hour of a quick car. [byte]
_LOG_BYTES = 16 * 1024 * 1024
#: At most so much at once, so that one who catches up does not hold up the others. [byte]
_GULP_BYTES = 64 * 1024


class Traces(Paced):
    """Samples and states of one capture. Safe to call from several threads."""

    def __init__(
        self, clock: Callable[[], float] = time.monotonic, log_bytes: int = _LOG_BYTES
    ) -> None:
        super().__init__(clock)
        self._log_bytes = log_bytes
        self._rows: deque[tuple[float, dict[str, float]]] = deque(maxlen=_ROWS)
        self._pending: list[tuple[float, dict[str, float]]] = []
        self._log: deque[bytes] = deque()
        self._held_bytes = 0
        self._count = 0
        self._state = ""
        self.newest: dict[str, float] = {}
        #: Tells this capture's events from those of another one of the same car.
        self.token = secrets.token_hex(4)
        self.over = False

    def heard(self, at_s: float, values: Mapping[str, float]) -> None:
        """Take a reading: its time since the beginning, and values by parameter. [s]"""
        with self._lock:
            row = (at_s, dict(values))
            self._rows.append(row)
            self._pending.append(row)
            self.newest.update(values)
            first = len(self._pending) == 1
        if first:
            self._wake()

    def tell(self, state: Mapping[str, Any], *, over: bool = False) -> None:
        """Take a state of the capture; ``over`` where nothing comes after it."""
        with self._lock:
            # What was read before comes before, above all at the end.
            self._gather()
            self._state = json.dumps(state, separators=(",", ":"))
            self._append("state", self._state)
            self.over = over
        self._wake()

    def seal(self) -> None:
        """Make a frame of what is there, if the last one is old enough."""
        with self._lock:
            # The very sum that `due_s` works out, so that both always agree.
            if self._pending and self._sealed + FRAME_S - self._clock() <= 0.0:
                self._gather()

    def begin(self, after: str) -> tuple[int, bytes]:
        """Where a viewer stands and what it is sent first.

        Parameters
        ----------
        after
            Identity of the last event that it had, ``TOKEN-NUMBER``; empty for a new viewer. One
            of another capture, or from before all that is kept, begins anew and is told so.
        """
        token, _, number = after.partition("-")
        with self._lock:
            seen = int(number) if number.isdigit() and number.isascii() else -1
            if token == self.token and self._count - len(self._log) <= seen <= self._count:
                return seen, b""
            anew = json.dumps({"missed": token == self.token}) if after else ""
            self._gather()
            parts = [self._event("anew", anew)] if anew else []
            parts.append(self._event("rows", _written(self._recent())))
            if self._state:
                parts.append(self._event("state", self._state))
            return self._count, b"".join(parts)

    def since(self, seen: int) -> tuple[int, bytes] | None:
        """What comes after event ``seen``, at most one gulp of it; None where that is gone."""
        self.seal()
        with self._lock:
            first = self._count - len(self._log)
            if seen < first:
                return None
            gulp, size = [], 0
            for index in range(seen - first, len(self._log)):
                gulp.append(self._log[index])
                size += len(gulp[-1])
                if size >= _GULP_BYTES:
                    break
            return seen + len(gulp), b"".join(gulp)

    def csv(self) -> Iterator[str]:
        """All of it as a recording's own CSV, line by line."""
        with self._lock:
            rows = list(self._rows)
        names = sorted({name for _, values in rows for name in values})
        yield ",".join(["time [s]", *(f"{name} [{unit_of(name)}]" for name in names)]) + "\n"
        for at_s, values in rows:
            cells = (repr(values[name]) if name in values else "" for name in names)
            yield f"{at_s:.4f},{','.join(cells)}\n"

    def _recent(self) -> list[tuple[float, dict[str, float]]]:
        found: list[tuple[float, dict[str, float]]] = []
        for row in reversed(self._rows):
            if row[0] < self._rows[-1][0] - _RECENT_S:
                break
            found.append(row)
        return found[::-1]

    def _gather(self) -> None:
        if self._pending:
            self._append("rows", _written(self._pending))
            self._pending, self._sealed = [], self._clock()

    def _append(self, event: str, data: str) -> None:
        self._count += 1
        self._log.append(self._event(event, data))
        self._held_bytes += len(self._log[-1])
        while self._held_bytes > self._log_bytes and len(self._log) > 1:
            self._held_bytes -= len(self._log.popleft())

    def _event(self, event: str, data: str) -> bytes:
        return f"id: {self.token}-{self._count}\nevent: {event}\ndata: {data}\n\n".encode()


def _written(rows: list[tuple[float, dict[str, float]]]) -> str:
    return json.dumps([[round(at_s, 6), values] for at_s, values in rows], separators=(",", ":"))
