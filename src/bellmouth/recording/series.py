"""What was measured: each parameter at its own times."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bellmouth.recording.of_car import OfCar

__all__ = ["Floats", "Recording", "Series"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Series:
    """One parameter: values at strictly increasing times, in the standard's own unit.

    Attributes
    ----------
    name
        The standard's name in snake_case, such as ``mass_air_flow``.
    unit
        The unit of ``value``: the parameter table's (``g/s``, ``kPa``, ``%``, ``rpm``, ``degC``).
    time_s, value
        Same length, no NaN. Times count from the start of the recording. [s], [unit]
    step
        The smallest step that the reading can move in, where it is not the standard's: by a scale
        of the car's own, or of what stands in for a parameter. [unit]
    """

    name: str
    unit: str
    time_s: Floats
    value: Floats
    step: float | None = None


@dataclass(frozen=True)
class Recording:
    """A recording: its series by name, where it came from and what was left out.

    ``notes`` says in whole sentences what the reader mended or dropped (duplicate times, a clock
    that restarted, cells that were not a number); ``unmapped`` lists columns that no parameter
    claims; ``dropped`` counts impossible samples left out, by parameter. ``begins_s`` is what the
    file's own clock showed at time 0. [s] ``woken`` holds, on that clock, each time that a silent
    car woke up: between the last question that nobody answered and the first that found it awake,
    where the recorder noted that. [s] ``of_car`` is what the car said of itself, where the file
    has a place for that; ``loads_off`` whether its idles are known to be without loads (air
    conditioning, blower, lights): whoever recorded it was asked to switch them off, or says so.
    """

    series: Mapping[str, Series]
    source: str
    notes: tuple[str, ...] = ()
    unmapped: tuple[str, ...] = ()
    samples_per_s: float = field(default=float("nan"))
    dropped: Mapping[str, int] = field(default_factory=dict)
    begins_s: float = 0.0
    woken: tuple[tuple[float, float], ...] = ()
    of_car: OfCar = field(default=OfCar())
    loads_off: bool = False

    def __contains__(self, name: object) -> bool:
        return name in self.series

    def get(self, name: str) -> Series | None:
        """The series of a parameter, or None where it was not recorded."""
        return self.series.get(name)

    def same_samples(self, other: "Recording") -> bool:
        """Whether both hold the very same samples, whatever their names."""
        if self.series.keys() != other.series.keys():
            return False
        pairs = [(series, other.series[name]) for name, series in self.series.items()]
        return all(
            np.array_equal(one.time_s, two.time_s) and np.array_equal(one.value, two.value)
            for one, two in pairs
        )
