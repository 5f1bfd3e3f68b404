"""What a steady stretch is: a piece of a recording at one operating point, each value with its
own uncertainty."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple

__all__ = ["BANKS", "Kind", "Reading", "Stretch"]

BANKS = (1, 2)

Kind = Literal["engine off", "idle", "held", "drive"]


class Reading(NamedTuple):
    """One parameter over one stretch. A tuple, as a recording has a hundred.

    Attributes
    ----------
    value
        Mean over the stretch, in the parameter's unit.
    standard_error
        Of the mean: scatter over *independent* samples, quantisation (quantum / sqrt(12) of a
        reading that never moved, which averaging cannot reduce) and drift.
    scatter
        Standard deviation of the samples about their own trend.
    samples, independent_samples
        How many there are and how many they are worth (autocorrelation).
    quantum
        Smallest step the reading moves in; 0 where none shows.
    drift_per_s
        Slope of a straight line through the stretch. [unit/s]
    at_limit
        -1 or +1 where the reading sat at its lower or upper limit (a clamped trim, or a point of a
        drive that stands as high as one), else 0.
    """

    value: float
    standard_error: float
    scatter: float
    samples: int
    independent_samples: float
    quantum: float
    drift_per_s: float = 0.0
    at_limit: int = 0


@dataclass(frozen=True)
class Stretch:
    """A steady stretch.

    ``kind`` is ``engine off`` (key on, no speed), ``idle`` (pedal up, lowest band of speeds),
    ``held`` (a raised speed without road speed) or ``drive`` (quasi-steady on the road, or a
    speed and load above idle where no road speed is reported). ``warm`` and ``closed_loop`` are
    ``None`` where nothing reported tells; ``open_banks`` are those whose trims stand in open loop,
    though the other's may not. ``purging`` is the share of the stretch with purge
    commanded, or 1 where none is reported and the trim stands apart as it does under purge.
    ``loads_off`` says that every load is known to be switched off.
    """

    kind: Kind
    start_s: float
    end_s: float
    readings: Mapping[str, Reading]
    warm: bool | None
    closed_loop: bool | None
    purging: float | None = None
    loads_off: bool = False
    open_banks: tuple[int, ...] = ()

    @property
    def seconds(self) -> float:
        """From beginning to end. [s]"""
        return self.end_s - self.start_s

    def value(self, name: str) -> float:
        """The mean of a parameter, NaN where the stretch does not hold it."""
        reading = self.readings.get(name)
        return float("nan") if reading is None else reading.value

    def error(self, name: str) -> float:
        """The standard error of a parameter, NaN where the stretch does not hold it."""
        reading = self.readings.get(name)
        return float("nan") if reading is None else reading.standard_error
