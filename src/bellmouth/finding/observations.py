"""From steady stretches to the arrays that the inference works on: one entry a stretch, all
recordings of the car in one row, the judged one marked."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Car, Known
from bellmouth.finding.columns import Columns, opened, opening, throttle_name
from bellmouth.finding.fuelling import fuelling
from bellmouth.finding.priors import load_priors
from bellmouth.physics import air, cylinder
from bellmouth.recording.medians import median
from bellmouth.recording.nans import told_or
from bellmouth.recording.quality import is_air_temperature
from bellmouth.recording.stretch import Stretch

__all__ = ["LEAST_KPA", "Observations", "judgeable", "observe", "tells_the_opening"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_LUKEWARM_C = 45.0
_SAME_PCT = 0.2  # throttle readings this near are one: half a step of the standard's scale
_SCALE_HEIGHT_M = 8400.0  # of pressure over height near the ground: R T / g at 15 degC
# Below these no running engine reads. [g/s], [kPa]
_LEAST_G_S = 0.02
LEAST_KPA = 8.0
_LEAST_BOOST_KPA = 40.0
_AMBIENT_KPA = (40.0, 115.0)  # no road is higher or lower: a barometer that says so is no reading


@dataclass(frozen=True)
class Observations:
    """All points of all recordings, shape (points,) unless said otherwise; NaN is not reported.

    ``metered_kg_s`` is the airflow the meter reports; ``computed_kg_s`` the airflow that a
    pressure-metering controller says it computed. ``log_trim`` has shape (points, 2), a bank a
    column, ``trim_limit`` the sign of the limit it sits at, and ``trim_gap`` what is to be added if
    the controller adds its two trims rather than multiplying them. The ``…_error`` arrays are
    standard errors in the same unit (of the logarithm for flows).
    """

    recording: NDArray[np.int64]
    judged: Bools
    idle: Bools
    held: Bools
    speed_rev_s: Floats
    metered_kg_s: Floats
    metered_error: Floats
    computed_kg_s: Floats
    computed_error: Floats
    manifold_pa: Floats
    manifold_error_pa: Floats
    boost_pa: Floats
    throttle_pct: Floats
    throttle_error_pct: Floats
    throttle_absolute: bool  # whether the throttle reading is throttle_position itself
    throttle_relative: bool  # whether only a relative one, whose zero may be learned, is there
    log_trim: Floats
    trim_error: Floats
    trim_limit: Floats
    trim_gap: Floats
    ambient_pa: Floats
    intake_k: Floats
    purging: Floats
    purge_told: NDArray[np.bool_]
    recirculating: Floats
    relative_pct: Floats
    opening_pct: Floats  # above the stop, by a reading that seems to count from there
    opening_read: Bools  # where that was read, though it may sit at its zero
    timing_deg: Floats
    coolant_c: Floats
    loads_off: Bools  # idles that are known to be without loads
    load_pct: Floats  # calculated load, a share of what differs from engine to engine
    start_s: Floats
    end_s: Floats
    lasts_s: Floats  # without what lies between the pieces of a gathered stretch
    ambient_log_sd: Floats  # (recordings,) beyond a barometer's own error; NaN where not told
    intake_log_sd: Floats  # (recordings,) of its temperature where no sensor told it, else 0
    key_on_log_ratio: Floats  # (recordings,) manifold sensor over barometer, engine off
    rest_pct: Floats  # (recordings,) throttle reading with the engine off
    displacement_m3: float
    airflow_metered: bool
    turbocharged: bool | None  # as the owner says, whether or not a boost sensor reports
    banks: int | None  # as the owner says, whether or not the second one's trims were recorded
    ethanol_reported: bool

    @property
    def points(self) -> int:
        """How many stretches there are in all."""
        return int(self.speed_rev_s.shape[-1])

    @property
    def recordings(self) -> int:
        """How many recordings there are, the judged ones first."""
        return len(self.ambient_log_sd)

    @property
    def judged_recordings(self) -> tuple[int, ...]:
        """Numbers of the judged recordings: the car is the same, and so is what is wrong."""
        return tuple(np.unique(self.recording[self.judged]).tolist())

    def total_trim(self) -> tuple[Floats, Floats]:
        """Log total trim of the engine at each point, the mean of the banks whose trims are used,
        and its error; NaN where none is."""
        used = np.isfinite(self.log_trim)
        banks = np.where(used.any(axis=1), used.sum(axis=1), np.nan)
        trim = np.where(used, self.log_trim, 0.0).sum(axis=1) / banks
        square = np.where(used, self.trim_error**2, 0.0).sum(axis=1)
        return trim, np.sqrt(square) / banks

    @property
    def beside(self) -> bool:
        """Whether any is a reference, of the car when it was good."""
        return not bool(self.judged.all())


def tells_the_opening(o: Observations, lowest: int, usable: Bools) -> Bools:
    """The point (points,) that tells how far open the plate is at the lowest throttle reading, or
    none. Readings are coarse and several share the lowest: of those of the same car, good or not,
    in which it was read, the middle one, whichever recording comes first."""
    read = usable & o.opening_read & (o.judged == o.judged[lowest])
    read &= o.throttle_pct <= o.throttle_pct[lowest] + _SAME_PCT
    off_zero = told_or(0.0, o.opening_pct)
    rising = np.flatnonzero(read)[np.argsort(off_zero[read], kind="stable")]
    chosen = np.zeros(o.points, dtype=bool)
    chosen[rising[(len(rising) - 1) // 2 : (len(rising) + 1) // 2]] = True
    return chosen & (off_zero > 0)


def judgeable(stretches: Sequence[Stretch]) -> tuple[Stretch, ...]:
    """The stretches to work from: running and not known to be cold; where all are, the lukewarm
    ones (coolant at least 45 degC), which are told as such."""
    # In a hole of the recording a speed may be interpolated that was never read.
    running = tuple(
        stretch
        for stretch in stretches
        if stretch.kind != "engine off" and np.isfinite(stretch.value("engine_speed"))
    )
    warm = tuple(stretch for stretch in running if stretch.warm is not False)
    if warm:
        return warm
    coolant = "engine_coolant_temperature"
    return tuple(stretch for stretch in running if stretch.value(coolant) >= _LUKEWARM_C)


def observe(
    judged: Sequence[Stretch],
    references: Sequence[Sequence[Stretch]],
    car: Car,
    also: Sequence[Sequence[Stretch]] = (),
) -> Observations:
    """Gather the usable stretches (engine running, not known to be cold) of all recordings;
    ``also`` are more of the car as it is now."""
    groups = [judged, *also, *references]
    rows = [
        (number, stretch) for number, group in enumerate(groups) for stretch in judgeable(group)
    ]
    stretches = [stretch for _, stretch in rows]
    recording = np.array([number for number, _ in rows], dtype=np.int64)
    column = Columns(stretches)
    displacement_m3 = car.displacement_l.value * 1e-3
    ambient = [_ambient_pa(group, car) for group in groups]
    air_side = _air(column, displacement_m3, car, groups)
    metered, metered_error = air_side["metered_kg_s"], air_side["metered_error"]
    return Observations(
        recording=recording,
        judged=recording <= len(also),
        idle=np.array([stretch.kind == "idle" for stretch in stretches], dtype=bool),
        held=np.array([stretch.kind == "held" for stretch in stretches], dtype=bool),
        loads_off=np.array([stretch.loads_off for stretch in stretches], dtype=bool),
        purging=np.array([stretch.purging or 0.0 for stretch in stretches]),
        purge_told=np.array([stretch.purging is not None for stretch in stretches], dtype=bool),
        recirculating=told_or(0.0, column.value("commanded_egr")) / 100.0,
        start_s=np.array([stretch.start_s for stretch in stretches]),
        end_s=np.array([stretch.end_s for stretch in stretches]),
        lasts_s=_lasts(stretches, recording),
        ambient_pa=np.array([ambient[number][0] for number in recording]),
        ambient_log_sd=np.array([log_sd for _, log_sd in ambient]),
        intake_log_sd=np.array([_intake_log_sd(group, car) for group in groups]),
        key_on_log_ratio=np.array([_key_on(group) for group in groups]),
        displacement_m3=displacement_m3,
        airflow_metered=car.metering == "airflow",
        turbocharged=car.turbocharged,
        banks=car.banks,
        ethanol_reported=_reports(column, "ethanol_percentage"),
        **air_side,
        **fuelling(column, metered, metered_error, recording),
    )


def _lasts(stretches: Sequence[Stretch], recording: NDArray[np.int64]) -> Floats:
    """How long each stretch was really there, by the engine speeds read in it: a gathered one has
    all that lies between its pieces from its beginning to its end. [s]"""
    seconds = np.array([stretch.seconds for stretch in stretches], dtype=np.float64)
    read = [max(stretch.readings["engine_speed"].samples, 1) for stretch in stretches]
    standing = np.array([stretch.kind != "drive" for stretch in stretches], dtype=bool)
    per_s = np.array(read) / np.maximum(seconds, 1.0)
    lasts = seconds.copy()
    for number in np.unique(recording[standing]):
        # Read as often throughout; what lies between pieces makes it seem less.
        mine = standing & (recording == number)
        lasts[mine] *= per_s[mine] / per_s[mine].max()
    return lasts


def _air(
    column: Columns, displacement_m3: float, car: Car, groups: Sequence[Sequence[Stretch]]
) -> dict[str, Any]:
    """Everything about air, speed and plate, point by point."""
    speed = column.value("engine_speed") / 60.0
    metered, metered_error = _metered(column, speed, displacement_m3, car)
    computed, computed_error = _computed(column, speed, displacement_m3, car)
    reading = throttle_name(column)
    above_stop, above_stop_read = opening(column)
    throttle = opened(column, reading)
    intake = column.value("intake_air_temperature")
    manifold = _plausible(column.value("intake_manifold_pressure"), LEAST_KPA)
    return {
        "speed_rev_s": speed,
        "metered_kg_s": metered,
        "metered_error": metered_error,
        "computed_kg_s": computed,
        "computed_error": computed_error,
        "manifold_pa": manifold * 1e3,
        "manifold_error_pa": column.error("intake_manifold_pressure") * 1e3,
        "boost_pa": _plausible(column.value("boost_pressure"), _LEAST_BOOST_KPA) * 1e3,
        "throttle_pct": throttle,
        "throttle_error_pct": column.error(reading),
        "throttle_absolute": reading == "throttle_position",
        "throttle_relative": reading == "relative_throttle_position",
        "rest_pct": np.array([_rest(group, reading) for group in groups]),
        "timing_deg": column.value("ignition_timing_advance"),
        "coolant_c": column.value("engine_coolant_temperature"),
        "load_pct": column.value("calculated_load"),
        "relative_pct": column.value("relative_throttle_position"),
        "opening_pct": above_stop,
        "opening_read": above_stop_read,
        "intake_k": np.where(is_air_temperature(intake), intake, _untold_c(car).value) + air.KELVIN,
    }


def _untold_c(car: Car) -> Known:
    """Temperature of the intake air where no sensor tells it. [degC]"""
    if car.ambient_air_temperature_c is not None:
        return car.ambient_air_temperature_c
    return Known(*load_priors().weather["untold_intake_c"])


def _intake_log_sd(group: Sequence[Stretch], car: Car) -> float:
    """How well the logarithm of a recording's intake temperature is known beyond a sensor's own
    error."""
    read = np.array([stretch.value("intake_air_temperature") for stretch in group])
    if is_air_temperature(read).any():
        return 0.0
    untold = _untold_c(car)
    return untold.sd / (untold.value + air.KELVIN)


def _plausible(value: Floats, least: float) -> Floats:
    """Readings below what any running engine shows are no readings."""
    return np.where(value > least, value, np.nan)


def _metered(
    column: Columns, speed: Floats, displacement_m3: float, car: Car
) -> tuple[Floats, Floats]:
    """The meter's airflow, or what the absolute load says it was."""
    if car.metering != "airflow":
        nothing = np.full(speed.shape, np.nan)
        return nothing, nothing
    read = _flow_read(column)
    return read or _flow_from_load(column, speed, displacement_m3)


def _computed(
    column: Columns, speed: Floats, displacement_m3: float, car: Car
) -> tuple[Floats, Floats]:
    if car.metering != "pressure":
        nothing = np.full(speed.shape, np.nan)
        return nothing, nothing
    read = _flow_read(column)
    # The calculated load is left out: what it is a share of differs with speed from engine to
    # engine, and on the real idles it only fed a false leak. Beside a reference: `load_reading`.
    return read or _flow_from_load(column, speed, displacement_m3)


def _flow_read(column: Columns) -> tuple[Floats, Floats] | None:
    """Airflow [kg/s] and the error of its logarithm, where it was recorded."""
    flow = column.value("mass_air_flow")
    if not np.isfinite(flow).any():
        return None
    flow = np.where(flow > _LEAST_G_S, flow, np.nan) * 1e-3
    return flow, column.error("mass_air_flow") * 1e-3 / flow


def _reports(column: Columns, name: str) -> bool:
    return bool(np.isfinite(column.value(name)).any())


def _flow_from_load(
    column: Columns, speed: Floats, displacement_m3: float
) -> tuple[Floats, Floats]:
    load = column.value("absolute_load")
    load = np.where(load > 0, load, np.nan)
    flow = cylinder.flow_from_absolute_load_kg_s(load, displacement_m3, speed)
    return flow, column.error("absolute_load") / load


def _ambient_pa(group: Sequence[Stretch], car: Car) -> tuple[float, float]:
    """Ambient pressure of a recording, and how much worse than a barometer's it is known."""
    values = [stretch.value("barometric_pressure") for stretch in group]
    values = [value for value in values if _is_ambient(value)]
    if values:
        return median(values) * 1e3, 0.0
    if car.barometric_pressure_kpa is not None:
        told = car.barometric_pressure_kpa
        return told.value * 1e3, told.sd / told.value
    off = [
        stretch.value("intake_manifold_pressure")
        for stretch in group
        if stretch.kind == "engine off"
    ]
    off = [value for value in off if _is_ambient(value)]
    if off:
        return median(off) * 1e3, load_priors().sensors["as_barometer_log_sd"]
    if car.altitude_m is not None:
        height = car.altitude_m
        weather = load_priors().weather["altitude_log_sd"]
        log_sd = float(np.hypot(weather, height.sd / _SCALE_HEIGHT_M))
        return float(air.standard_pressure_pa(height.value)), log_sd
    return float("nan"), float("nan")


def _key_on(group: Sequence[Stretch]) -> float:
    """Log of the manifold sensor over the barometer with the engine off; NaN if not recorded."""
    for stretch in group:
        if stretch.kind == "engine off":
            manifold = stretch.value("intake_manifold_pressure")
            barometer = stretch.value("barometric_pressure")
            if manifold > LEAST_KPA and _is_ambient(barometer):
                return float(np.log(manifold / barometer))
    return float("nan")


def _is_ambient(kpa: float) -> bool:
    """Whether a pressure can be the outside air's; NaN is not."""
    low, high = _AMBIENT_KPA
    return low <= kpa <= high


def _rest(group: Sequence[Stretch], name: str) -> float:
    """The absolute throttle reading that is used, engine off: there the plate is on its spring."""
    if not name.endswith(("throttle_position", "throttle_position_b")) or "relative" in name:
        return float("nan")
    for stretch in group:
        if stretch.kind == "engine off" and np.isfinite(stretch.value(name)):
            return stretch.value(name)
    return float("nan")
