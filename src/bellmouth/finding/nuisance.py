"""The car's unknowns: what every hypothesis has to allow for, as standard normal coordinates."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Car
from bellmouth.finding.false_pressure import mixed, of_pressure
from bellmouth.finding.marginals import Mixed
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors
from bellmouth.physics.fuel import injector_time_factor

__all__ = ["LEARNED", "PER_RECORDING", "Unknowns", "Values", "unknowns"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


_SHARED = (
    "fill_level",
    "fill_rise",
    "fill_speed",
    "bypass",
    "slope",
    "opening",
    "curve",
    "fade",
    "meter_gain",
    "meter_bend",
    "pressure_gain",
    "pressure_offset",
    "sensed",
    "boost_gain",
    "fuel_level",
    "bank_split",
    "leak_bank",
    "trim_sum",
    "closed",
    "discharge",
)
_PLACES = {name: place for place, name in enumerate(_SHARED)}
#: Those that cars of one engine family have in common, more or less.
LEARNED = (
    "fill_level",
    "fill_rise",
    "fill_speed",
    "bypass",
    "slope",
    "opening",
    "curve",
    "fade",
    "closed",
    "meter_gain",
    "fuel_level",
    "bank_split",
    "trim_sum",
)
#: What each recording of a car has of its own.
PER_RECORDING = ("ambient", "fuel_fill", "heating", "meter_day")


@dataclass(frozen=True)
class Unknowns:
    """Mean and standard deviation of each coordinate, and where each stands.

    Coordinates are standard normal: ``value = mean + sd * coordinate``, or ``mean + sd * (turn @
    coordinates)`` where an engine family says how they go together. One may be ``mixed``
    instead. Those shared by all recordings of the car come first, then one block a recording.
    """

    mean: Floats
    sd: Floats
    contaminated_bend_sd: float
    turn: Floats | None = None
    mixed: Mixed | None = None

    def values(self, coordinates: Floats) -> Floats:
        """The unknowns at coordinates (batch, unknowns), same shape."""
        told = coordinates if self.turn is None else coordinates @ self.turn.T
        return np.asarray(self.mean + self.sd * told)

    def values_of(self, coordinates: Floats, bend_sd: Floats) -> "Values":
        """The same, with the spread (batch,) that hypotheses allow the meter's exponent."""
        # Each unknown's values together: they are asked for by unknown.
        told = np.asfortranarray(self.values(coordinates))
        bend = self.index("meter_bend")
        told[:, bend] = coordinates[:, bend] * bend_sd
        return Values(told)

    def in_coordinates(self, slopes: Floats, bend_sd: Floats) -> Floats:
        """Slopes in the coordinates from those in values, (batch, residuals, unknowns) both;
        ``bend_sd`` (batch,) as in `values_of`."""
        spread = np.empty((len(slopes), self.size))
        spread[:] = self.sd
        spread[:, self.index("meter_bend")] = bend_sd
        told = slopes * spread[:, None]
        return told if self.turn is None else np.asarray(told @ self.turn)

    def row(self, name: str) -> Floats:
        """What one shared unknown gains with each coordinate, (unknowns,)."""
        place = self.index(name)
        turn = np.eye(self.size)[place] if self.turn is None else self.turn[place]
        return np.asarray(self.sd[place] * turn)

    @property
    def size(self) -> int:
        """How many unknowns there are."""
        return len(self.mean)

    @staticmethod
    def index(name: str) -> int:
        """Place of an unknown that all recordings share."""
        return _PLACES[name]

    @staticmethod
    def block(name: str, recordings: int) -> slice:
        """Places of an unknown that each recording has its own of."""
        start = len(_SHARED) + PER_RECORDING.index(name) * recordings
        return slice(start, start + recordings)


class Values:
    """The unknowns' values for a batch: rows of a table (rows, unknowns), in their order or by the
    row (batch,) that each member has."""

    def __init__(self, table: Floats, row: Ints | None = None) -> None:
        self._table, self._row = table, row

    def __call__(self, name: str) -> Floats:
        """An unknown that all recordings share, (batch, 1)."""
        return self._columns(slice(_PLACES[name], _PLACES[name] + 1))

    def each(self, name: str, recordings: int) -> Floats:
        """An unknown that each recording has its own of, (batch, recordings)."""
        return self._columns(Unknowns.block(name, recordings))

    def of(self, members: Ints) -> "Values":
        """Those of some members of the batch."""
        return Values(self._table, members if self._row is None else self._row.take(members))

    def _columns(self, places: slice) -> Floats:
        told = self._table[:, places]
        return told if self._row is None else told.take(self._row, axis=0)


def unknowns(observations: Observations, car: Car, priors: Priors) -> Unknowns:
    """The prior over the unknowns of this car and these recordings."""
    plate, sensors, fuel = priors.plate, priors.sensors, priors.fuel
    litres = observations.displacement_m3 * 1e3
    bypass_mean, bypass_sd = plate["log_bypass_mm2_per_l"]
    # A controller that meters pressure trusts its own filling table: its error is its meter's.
    gain = sensors["meter_log_gain"]
    if not observations.airflow_metered:
        gain = sensors["computed_log_gain"]
    ethanol = car.ethanol_pct
    fuel_mean, fuel_sd = fuel["log_level"]
    if ethanol is not None and not observations.ethanol_reported:
        # Nobody tells this controller what is in the tank: its trims make up for the blend.
        factor = injector_time_factor(ethanol.value / 100.0, fuel["usual_ethanol"])
        fuel_mean += float(np.log(factor))
        fuel_sd = float(np.hypot(fuel_sd, 0.004 * ethanol.sd))
    displacement_sd = car.displacement_l.sd / car.displacement_l.value
    compared = np.isfinite(observations.log_trim[:, 1]).any()
    split = fuel["log_bank_split" if compared else "log_bank_alone"]
    level, level_sd = priors.filling["log_level"]
    shared: dict[str, tuple[float, float]] = {
        "fill_level": (level, float(np.hypot(level_sd, displacement_sd))),
        "fill_rise": tuple(priors.filling["log_rise"]),
        "fill_speed": tuple(priors.filling["log_speed"]),
        "bypass": (bypass_mean + np.log(litres), float(np.hypot(bypass_sd, displacement_sd))),
        "slope": tuple(plate["log_slope_mm2_per_pct"]),
        "opening": tuple(plate["log_idle_opening_pct"]),
        "curve": tuple(plate["curve_per_pct"]),
        "fade": tuple(plate["log_deposit_fade_pct"]),
        "meter_gain": (0.0, gain),
        "meter_bend": (0.0, sensors["meter_log_bend"]),
        "pressure_gain": (0.0, sensors["pressure_log_gain"]),
        "pressure_offset": (0.0, sensors["pressure_offset_pa"]),
        "sensed": of_pressure(observations, priors),
        "boost_gain": (0.0, sensors["boost_log_gain"]),
        "fuel_level": (fuel_mean, fuel_sd),
        "bank_split": (0.0, split),
        "leak_bank": (0.0, fuel["leak_bank"]),
        "trim_sum": tuple(fuel["trim_sum"]),
        "closed": tuple(plate["closed_pct"]),
        "discharge": tuple(plate["log_discharge_per_ratio"]),
    }
    pairs = [*(shared[name] for name in _SHARED), *_recording_blocks(observations, priors)]
    mean, sd = np.array(pairs).T
    sensed = mixed(observations, priors, Unknowns.index("sensed"))
    return Unknowns(mean, sd, sensors["contaminated_log_bend"], mixed=sensed)


def _recording_blocks(observations: Observations, priors: Priors) -> list[tuple[float, float]]:
    """What each recording has of its own, block by block in the order of `PER_RECORDING`."""
    metered, recordings = observations.airflow_metered, observations.recordings
    same = np.ones(recordings)
    spreads = (
        priors.fuel["log_fill" if metered else "log_fill_pressure"] * same,
        np.hypot(priors.weather["intake_log_heating"], observations.intake_log_sd),
        (priors.weather["meter_day_log_gain"] if metered else 0.0) * same,
    )
    own = [(0.0, float(sd)) for each in spreads for sd in each]
    return [*_ambient_blocks(observations, priors), *own]


def _ambient_blocks(observations: Observations, priors: Priors) -> list[tuple[float, float]]:
    """Ambient pressure as a log factor on what was reported, or on the prior's mean."""
    unknown_kpa, unknown_sd = priors.weather["barometric_kpa"]
    own = priors.weather["barometric_log_error"]
    return [
        (0.0, float(np.hypot(own, log_sd)) if np.isfinite(log_sd) else unknown_sd / unknown_kpa)
        for log_sd in observations.ambient_log_sd
    ]
