"""What was read while an attempt ran, made into a recording for the judge."""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from bellmouth.j1979.parameters import unit_of
from bellmouth.learning.ignition import QUIET_S
from bellmouth.recording.series import Recording, Series

__all__ = ["Samples"]


class Samples:
    """Collects values as they come.

    ``since_s`` is when somebody began to ask: it becomes the zero of the recording's own clock, so
    that silence before the first answer is on record too. [s]
    """

    def __init__(self, since_s: float = 0.0) -> None:
        self.since_s = since_s
        self._values: dict[str, tuple[list[float], list[float]]] = {}
        self._woken: list[tuple[float, float]] = []

    def woke(self, low_s: float, high_s: float) -> None:
        """A car that had kept silent woke up between these; told before its first value. [s]"""
        # An answer that was lost is no silence.
        if high_s - self.latest_s > QUIET_S:
            self._woken.append((low_s, high_s))

    def add(self, name: str, value: float, at_s: float) -> None:
        """One value in the parameter's own unit; one no later than the last is left out. [s]"""
        times, values = self._values.setdefault(name, ([], []))
        if not times or at_s > times[-1]:
            times.append(at_s)
            values.append(value)

    @property
    def latest_s(self) -> float:
        """When the last value came; minus infinity where none has. [s]"""
        return max((times[-1] for times, _ in self._values.values() if times), default=-math.inf)

    def recording(self, source: str) -> Recording | None:
        """The recording so far; None where it is empty."""
        firsts = [times[0] for times, _ in self._values.values() if times]
        if not firsts:
            return None
        begin_s = min(firsts)
        series = {
            name: Series(name, unit_of(name), np.array(times) - begin_s, np.array(values))
            for name, (times, values) in self._values.items()
        }
        begins_s = begin_s - self.since_s
        woken = tuple((low - self.since_s, high - self.since_s) for low, high in self._woken)
        return Recording(series, source, begins_s=begins_s, woken=woken)

    def marks(self, told: Mapping[str, Sequence[float]]) -> dict[str, list[float]]:
        """Times of events on the recording's own clock. [s]"""
        return {name: [at_s - self.since_s for at_s in times] for name, times in told.items()}
