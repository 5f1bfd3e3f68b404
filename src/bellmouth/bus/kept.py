"""Samples of a capture in memory: all of an hour, of a longer one the end."""

from array import array
from collections.abc import Mapping, Sequence

import numpy as np

from bellmouth.recording.names import table
from bellmouth.recording.of_car import OfCar
from bellmouth.recording.own_scale import with_own_steps
from bellmouth.recording.series import Recording, Series

__all__ = ["Kept"]

# Samples kept in memory, 16 bytes each: a quarter of an hour of a quick car, so that a day's
# capture takes no more memory than an hour's. Beyond, the older half is on disk alone.
MOST_SAMPLES = 500_000


class Kept:
    """A pair of growing arrays a parameter.

    ``samples`` and ``rows`` count all there were, ``last_s`` is the time of the last [s],
    ``complete`` is whether none was let go of, ``of_car`` what the car said of itself,
    ``loads_off`` whether loads were to be switched off.
    """

    def __init__(self, names: Sequence[str]) -> None:
        self._times = {name: array("d") for name in names}
        self._values = {name: array("d") for name in names}
        self._held = 0
        self._woken: list[tuple[float, float]] = []
        self.samples = self.rows = 0
        self.last_s = -1.0
        self.complete = True
        self.of_car = OfCar()
        self.loads_off = False

    def __contains__(self, name: object) -> bool:
        return name in self._times

    def add(self, time_s: float, values: Mapping[str, float]) -> None:
        """Keep the values of one time. [s]"""
        for name, value in values.items():
            self._times[name].append(time_s)
            self._values[name].append(value)
        self.samples += len(values)
        self.rows += 1
        self._held += len(values)
        self.last_s = time_s
        if self._held > MOST_SAMPLES:
            self._forget()

    def woke(self, low_s: float, high_s: float) -> None:
        """A car that had kept silent woke between these. [s]"""
        self._woken.append((low_s, high_s))

    def _forget(self) -> None:
        self.complete = False
        for name, times in self._times.items():
            half = len(times) // 2
            del times[:half]
            del self._values[name][:half]
        self._held = sum(map(len, self._times.values()))

    def recording(self, source: str) -> Recording:
        """What is kept, copied."""
        series = {
            name: Series(name, table()[name].unit, np.array(times), np.array(self._values[name]))
            for name, times in self._times.items()
            if times
        }
        rate = self.samples / self.last_s if self.last_s > 0 else float("nan")
        return Recording(
            with_own_steps(series), source, samples_per_s=rate, woken=tuple(self._woken),
            of_car=self.of_car, loads_off=self.loads_off,
        )  # fmt: skip
