"""Values of one parameter over all stretches, and what the throttle readings among them say."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from bellmouth.recording.medians import median
from bellmouth.recording.stretch import Stretch
from bellmouth.recording.trims import BANKS

__all__ = ["Columns", "opened", "opening", "throttle_name"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Throttle readings, and what each reads at its zero at most. [%]
_THROTTLES = {
    "throttle_position": 0.0,
    "absolute_throttle_position_b": 0.0,
    "commanded_throttle_actuator": 0.3,
    "relative_throttle_position": 0.3,  # last: some count it from what is learned, which moves
}
_OFF_ZERO_PCT = 0.8
_OTHER_ZERO_PCT = 2.0  # a commanded reading this far below the sensor's has another zero

# Where controllers enrich, whatever the trims; common practice, no source. [%], [kPa]
_MUCH_LOAD = {
    "calculated_load": 55.0,
    "absolute_load": 55.0,
    "throttle_position": 55.0,
    "intake_manifold_pressure": 80.0,
}
_ENRICHED = 0.97  # commanded, as a ratio to stoichiometric: richer


class Columns:
    """Values and errors of one parameter over all stretches."""

    def __init__(self, stretches: Sequence[Stretch]) -> None:
        self._stretches = stretches
        # Most of what is asked for was not recorded.
        self._there = frozenset[str]().union(*(stretch.readings for stretch in stretches))
        self._nothing = np.full(len(stretches), np.nan)

    def value(self, name: str) -> Floats:
        """Its value in each stretch, NaN where it is not there."""
        return self._each(name, Stretch.value)

    def error(self, name: str) -> Floats:
        """Its standard error in each stretch."""
        return self._each(name, Stretch.error)

    def _each(self, name: str, read: Callable[[Stretch, str], float]) -> Floats:
        if name not in self._there:
            return self._nothing.copy()
        return np.array([read(stretch, name) for stretch in self._stretches], dtype=np.float64)

    def open_loop(self, bank: int) -> Bools:
        """Stretches in which a bank's mixture was not controlled."""
        return np.array(
            [
                s.closed_loop is False or bank in s.open_banks or _enriched(s)
                for s in self._stretches
            ],
            dtype=bool,
        )

    def limit(self, name: str) -> Floats:
        """Sign of the limit it stands at, 0 where at none."""
        if name not in self._there:
            return np.zeros(len(self._stretches))
        found = [stretch.readings.get(name) for stretch in self._stretches]
        return np.array([0.0 if r is None else float(r.at_limit) for r in found])


def _enriched(stretch: Stretch) -> bool:
    """Whether a point of a drive looks like open loop that the controller does not tell of: under
    much load the quick trims stand at nothing throughout."""
    if stretch.kind != "drive" or stretch.closed_loop is not None:
        return False
    much = any(stretch.value(name) > least for name, least in _MUCH_LOAD.items())
    if not much and not stretch.value("commanded_equivalence_ratio") < _ENRICHED:
        return False
    short = [stretch.readings.get(f"short_term_fuel_trim_bank_{bank}") for bank in BANKS]
    return any(short) and all(one.value == 0 for one in short if one is not None)


def throttle_name(column: Columns) -> str:
    """The throttle reading that the most points have; only its changes are used."""
    seen = {name: int(np.isfinite(opened(column, name)).sum()) for name in _THROTTLES}
    return max(_THROTTLES, key=lambda name: seen[name])


def opening(column: Columns) -> tuple[Floats, Bools]:
    """A throttle reading that stands well below the sensor's own, and off its zero: it seems to
    count from the closed stop. NaN where none does; and where it was read, at its zero or not."""
    sensor = column.value("throttle_position")
    for name in ("commanded_throttle_actuator", "relative_throttle_position"):
        value = column.value(name)
        read = np.isfinite(value) & np.isfinite(sensor)
        both = read & (value > _OFF_ZERO_PCT)
        if both.any() and median((sensor - value)[both]) > _OTHER_ZERO_PCT:
            return np.where(both, value, np.nan), read
    return np.full(sensor.shape, np.nan), np.zeros(sensor.shape, dtype=bool)


def opened(column: Columns, name: str) -> Floats:
    """A throttle reading; one that sits at its zero says no more than that the plate is there."""
    value = column.value(name)
    return np.where(value > _THROTTLES[name], value, np.nan)
