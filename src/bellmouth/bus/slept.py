"""A computer that slept, lid shut: its monotonic clock stands still, and the car's does not."""

import time

__all__ = ["Slept"]

# Less is the difference of two looks at two clocks. [s]
_LEAST_S = 1.0


class Slept:
    """Notices that the computer slept; made when there is nothing to notice yet."""

    def __init__(self) -> None:
        self._known_s = _away_s()

    def since_s(self) -> float:
        """How long it slept since this was asked last; 0 where it did not. [s]"""
        away_s = _away_s()
        slept_s, self._known_s = away_s - self._known_s, away_s
        return slept_s if slept_s >= _LEAST_S else 0.0


def _away_s() -> float:
    """Boot time counts through a sleep and monotonic time does not; 0 where there is none. [s]"""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return 0.0 if boot is None else time.clock_gettime(boot) - time.monotonic()
