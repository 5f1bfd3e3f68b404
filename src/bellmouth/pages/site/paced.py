"""Frames at a pace: what is new wakes whoever looks on, 20 times a second at most."""

import threading
from collections.abc import Callable
from contextlib import suppress

__all__ = ["FRAME_S", "Paced"]

#: A frame holds at most so much time, so that a picture moves 20 times a second. [s]
FRAME_S = 0.05


class Paced:
    """What every source of frames has; see `stream.Source`. Safe to call from several threads.

    Parameters
    ----------
    clock
        Monotonic. [s]
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._sealed = clock() - FRAME_S
        self._wakers: list[Callable[[], None]] = []

    @property
    def due_s(self) -> float:
        """When the next frame is to be made, from now on. [s]"""
        with self._lock:
            return max(self._sealed + FRAME_S - self._clock(), 0.0)

    def listen(self, wake: Callable[[], None]) -> None:
        """Have ``wake`` called, from any thread, whenever something new begins to wait."""
        with self._lock:
            self._wakers = [*self._wakers, wake]

    def unlisten(self, wake: Callable[[], None]) -> None:
        """Call it no more."""
        with self._lock:
            self._wakers = [one for one in self._wakers if one != wake]

    def _wake(self) -> None:
        for wake in self._wakers:
            # A server that is closing listens no more; what goes on goes on.
            with suppress(RuntimeError):
                wake()
