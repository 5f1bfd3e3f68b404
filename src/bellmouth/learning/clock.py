"""The clocks that a coach may run on: the computer's monotonic one, or a test's."""

import threading
import time
from typing import Protocol

__all__ = ["Clock", "MonotonicClock"]

#: The last stretch before a cue is slept in one short sleep, which wakes more exactly. [s]
_FINE_S = 0.002


class Clock(Protocol):
    """A monotonic clock, and how to wait by it."""

    def now_s(self) -> float:
        """Seconds since some moment, never going back."""
        ...

    def away_s(self) -> float:
        """How long the computer has slept since it was started, in all. [s]"""
        ...

    def reading_s(self, real_s: float) -> float:
        """What this clock shows at a time of the computer's monotonic one. [s]"""
        ...

    def wait(self, until_s: float, woken: threading.Event) -> None:
        """Return at a time, or sooner where ``woken`` is set. [s]"""
        ...


class MonotonicClock:
    """The computer's own.

    ``factor`` lets time run faster, for practising and for trying out: so many seconds a real
    one.
    """

    def __init__(self, factor: float = 1.0) -> None:
        self.factor = factor
        self._began_s = time.monotonic()

    def now_s(self) -> float:
        """See :class:`Clock`; with a factor it counts from when the clock was made."""
        return self.reading_s(time.monotonic())

    def reading_s(self, real_s: float) -> float:
        """See :class:`Clock`."""
        if self.factor == 1.0:
            return real_s
        return self._began_s + (real_s - self._began_s) * self.factor

    def away_s(self) -> float:
        """Boot time counts through a suspend and monotonic time does not; the difference. [s]"""
        boot = getattr(time, "CLOCK_BOOTTIME", None)
        if boot is None:
            return 0.0
        return time.clock_gettime(boot) - time.monotonic()

    def wait(self, until_s: float, woken: threading.Event) -> None:
        """See :class:`Clock`. Each wait is to an absolute time, so that lateness never adds up."""
        while not woken.is_set():
            left_s = (until_s - self.now_s()) / self.factor
            if left_s <= 0.0:
                return
            if left_s > 2.0 * _FINE_S:
                woken.wait(left_s - _FINE_S)
            else:
                time.sleep(left_s)
