"""Something moved: whoever looks on is woken, 20 times a second at most and not otherwise."""

import threading
import time
from collections.abc import Callable
from contextlib import suppress

from bellmouth.pages.site.traces import FRAME_S

__all__ = ["Pulse"]


class Pulse:
    """A source of frames for what has no log of its own; see `stream.Source`.

    Safe to call from several threads.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._sealed = clock() - FRAME_S
        self._waits = False
        self._wakers: list[Callable[[], None]] = []

    def tell(self) -> None:
        """Something is new."""
        with self._lock:
            first, self._waits = not self._waits, True
            wakers = self._wakers if first else []
        for wake in wakers:
            # A server that is closing listens no more; what goes on goes on.
            with suppress(RuntimeError):
                wake()

    @property
    def due_s(self) -> float:
        """When the next frame is to be made, from now on. [s]"""
        with self._lock:
            return max(self._sealed + FRAME_S - self._clock(), 0.0)

    def seal(self) -> None:
        """What was new is looked at now."""
        with self._lock:
            self._waits, self._sealed = False, self._clock()

    def listen(self, wake: Callable[[], None]) -> None:
        """Have ``wake`` called, from any thread, whenever something new begins to wait."""
        with self._lock:
            self._wakers = [*self._wakers, wake]

    def unlisten(self, wake: Callable[[], None]) -> None:
        """Call it no more."""
        with self._lock:
            self._wakers = [one for one in self._wakers if one != wake]
