"""What a practice car's controller reports, and in which steps: traces turned into parameters."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from bellmouth.practice.cars import Cars
from bellmouth.practice.columns import Floats
from bellmouth.practice.faults import Faults, Weather

__all__ = ["KEY_PARAMETERS", "REPORTED", "Reporter", "Steps", "draw_reports"]


@dataclass(frozen=True)
class Steps:
    """How a parameter is coded: unit, smallest step, and the ends of its range."""

    unit: str
    quantum: float
    low: float
    high: float

    def coded(self, value: Floats) -> Floats:
        """Value after coding and decoding."""
        steps = np.round(np.clip(value, self.low, self.high) / self.quantum)
        return np.clip(steps * self.quantum, self.low, self.high)


_PERCENT = Steps("%", 100.0 / 255.0, 0.0, 100.0)
_TRIM = Steps("%", 0.78125, -100.0, 99.21875)
_KELVIN = Steps("degC", 1.0, -40.0, 215.0)

#: Coding of each parameter that a practice car may report (SAE J1979, quoted from memory).
REPORTED: dict[str, Steps] = {
    "engine_speed": Steps("rpm", 0.25, 0.0, 16383.75),
    "mass_air_flow": Steps("g/s", 0.01, 0.0, 655.35),
    "intake_manifold_pressure": Steps("kPa", 1.0, 0.0, 255.0),
    "short_term_fuel_trim_bank_1": _TRIM,
    "long_term_fuel_trim_bank_1": _TRIM,
    "short_term_fuel_trim_bank_2": _TRIM,
    "long_term_fuel_trim_bank_2": _TRIM,
    "throttle_position": _PERCENT,
    "relative_throttle_position": _PERCENT,
    "commanded_throttle_actuator": _PERCENT,
    "calculated_load": _PERCENT,
    "absolute_load": Steps("%", 100.0 / 255.0, 0.0, 25700.0),
    "engine_coolant_temperature": _KELVIN,
    "intake_air_temperature": _KELVIN,
    "ambient_air_temperature": _KELVIN,
    "ignition_timing_advance": Steps("deg", 0.5, -64.0, 63.5),
    "barometric_pressure": Steps("kPa", 1.0, 0.0, 255.0),
    "boost_pressure": Steps("kPa", 0.5, 0.0, 400.0),
    "control_module_voltage": Steps("V", 0.001, 0.0, 65.535),
    "commanded_evaporative_purge": _PERCENT,
    "vehicle_speed": Steps("km/h", 1.0, 0.0, 255.0),
    "time_since_engine_start": Steps("s", 1.0, 0.0, 65535.0),
    "wide_range_sensor_1_equivalence_ratio_with_current": Steps("ratio", 2 / 65536, 0.0, 1.99997),
    "oxygen_sensor_voltage_bank_1_sensor_1": Steps("V", 0.005, 0.0, 1.275),
    "commanded_equivalence_ratio": Steps("ratio", 2 / 65536, 0.0, 1.99997),
    "ethanol_percentage": _PERCENT,
    "engine_fuel_rate": Steps("L/h", 0.05, 0.0, 3276.75),
    "accelerator_pedal_position_d": _PERCENT,
}
#: Polled several times as often as the others.
KEY_PARAMETERS = frozenset({
    "engine_speed", "mass_air_flow", "intake_manifold_pressure", "short_term_fuel_trim_bank_1",
    "short_term_fuel_trim_bank_2", "throttle_position",
})  # fmt: skip

_SHARES = {
    "throttle_position": 0.94, "relative_throttle_position": 0.45,
    "commanded_throttle_actuator": 0.6, "calculated_load": 0.88, "absolute_load": 0.45,
    "engine_coolant_temperature": 0.97, "intake_air_temperature": 0.95,
    "ambient_air_temperature": 0.35, "ignition_timing_advance": 0.85,
    "barometric_pressure": 0.7, "control_module_voltage": 0.75,
    "commanded_evaporative_purge": 0.55, "vehicle_speed": 0.88, "time_since_engine_start": 0.5,
    "commanded_equivalence_ratio": 0.35, "engine_fuel_rate": 0.1,
    "accelerator_pedal_position_d": 0.3,
}  # fmt: skip


def draw_reports(rng: np.random.Generator, car: Cars, cause: str) -> tuple[str, ...]:
    """Names of the parameters that this one car reports, in the order of :data:`REPORTED`."""
    row = car.row(0)
    chance = {name: float(rng.random()) for name in REPORTED}
    names = {name for name, share in _SHARES.items() if chance[name] < share} | {"engine_speed"}
    if row["airflow_metered"] > 0:
        names.add("mass_air_flow")
    if row["reports_pressure"] > 0:
        names.add("intake_manifold_pressure")
    if chance["short_term_fuel_trim_bank_1"] < 0.97:
        for bank in range(1, 2 + (row["banks"] > 1)):
            names |= {f"short_term_fuel_trim_bank_{bank}", f"long_term_fuel_trim_bank_{bank}"}
    wide = "wide_range_sensor_1_equivalence_ratio_with_current"
    sensor = wide if row["wide_range"] > 0 else "oxygen_sensor_voltage_bank_1_sensor_1"
    if chance[sensor] < 0.45:
        names.add(sensor)
    if row["flex"] > 0 and chance["ethanol_percentage"] < 0.85:
        names.add("ethanol_percentage")
    if row["turbo"] > 0 and (chance["boost_pressure"] < 0.75 or "boost_" in cause):
        names.add("boost_pressure")
    return tuple(name for name in REPORTED if name in names)


class Reporter:
    """Parameters of one car from its traces, before polling and coding.

    ``channel`` holds that car's traces over time; results have the same length.
    """

    def __init__(
        self, car: Cars, fault: Faults, weather: Weather, channel: dict[str, Floats],
        remembered_deg: float, barometric_error_kpa: float,
    ) -> None:  # fmt: skip
        self._car = car.row(0)
        self._weather = weather.row(0)
        self._boost_log = float(fault.boost_log[0])
        self._c = channel
        self._remembered_deg = remembered_deg
        self._barometric_error_kpa = barometric_error_kpa

    def value(self, name: str) -> Floats:
        """A parameter over time, in its unit, unrounded."""
        channel = _DIRECT.get(name)
        if channel is not None:
            key, factor = channel
            return factor * self._c[key]
        return self._computed[name](self)

    def _per_cycle(self) -> Floats:
        """Air per working cycle and litre, as metered. [g/L]"""
        speed = np.maximum(self._c["speed_rpm"], 1.0)
        turning = self._c["speed_rpm"] > 50.0
        per_cycle = self._c["metered_g_s"] * 120.0 / speed / self._car["displacement_l"]
        return np.where(turning, per_cycle, 0.0)

    def _absolute_load(self) -> Floats:
        return 100.0 * self._per_cycle() / 1.184

    def _calculated_load(self) -> Floats:
        kelvin = self._c["intake_c"] + 273.15
        best: Floats | float = 1.184 * self._car["filling_load"] * 1.06
        best = best * self._weather["barometric_kpa"] / 101.325 * np.sqrt(298.15 / kelvin)
        return np.asarray(100.0 * self._per_cycle() / best)

    def _throttle(self) -> Floats:
        per_deg = self._car["reading_pct_deg"]
        return self._car["closed_reading_pct"] + per_deg * self._c["opening_deg"]

    def _relative(self) -> Floats:
        rest = self._car["idle_opening_deg"] + self._car["rest_above_idle_deg"]
        zero = (0.0, self._remembered_deg, rest)[int(self._car["relative_zero"])]
        return self._car["reading_pct_deg"] * (self._c["opening_deg"] - zero)

    def _commanded(self) -> Floats:
        zero = self._car["closed_reading_pct"] * (1.0 - self._car["commanded_is_relative"])
        return zero + self._car["reading_pct_deg"] * self._c["commanded_deg"]

    def _barometric(self) -> Floats:
        level = self._weather["barometric_kpa"] + self._barometric_error_kpa
        return np.full_like(self._c["speed_rpm"], level)

    def _boost(self) -> Floats:
        gain = self._car["boost_gain"] * float(np.exp(self._boost_log))
        return gain * self._c["boost_kpa"]

    def _ambient(self) -> Floats:
        return np.full_like(self._c["speed_rpm"], self._weather["ambient_c"] + 1.0)

    def _voltage(self) -> Floats:
        charged = 14.3 - 0.35 * self._c["load"] - 0.004 * self._weather["ambient_c"]
        return np.where(self._c["speed_rpm"] > 400.0, charged, 12.35)

    def _sensor_voltage(self) -> Floats:
        # A narrow sensor: a steep step at stoichiometric between 0.1 and 0.85 V.
        return 0.475 - 0.375 * np.tanh((self._c["sensed_lambda"] - 1.0) / 0.008)

    def _ethanol(self) -> Floats:
        level = self._weather["ethanol_pct"] + self._weather["ethanol_error_pct"]
        return np.full_like(self._c["speed_rpm"], level)

    def _fuel_rate(self) -> Floats:
        ratio = 14.6 - 0.056 * self._weather["ethanol_pct"]
        return self._c["injected_g_s"] / ratio / 0.745 * 3.6

    def _pedal(self) -> Floats:
        return 15.0 + 0.9 * self._c["pedal_deg"]

    _computed: ClassVar[dict[str, Callable[["Reporter"], Floats]]] = {
        "absolute_load": _absolute_load, "calculated_load": _calculated_load,
        "throttle_position": _throttle, "relative_throttle_position": _relative,
        "commanded_throttle_actuator": _commanded, "barometric_pressure": _barometric,
        "boost_pressure": _boost, "ambient_air_temperature": _ambient,
        "control_module_voltage": _voltage, "ethanol_percentage": _ethanol,
        "oxygen_sensor_voltage_bank_1_sensor_1": _sensor_voltage,
        "engine_fuel_rate": _fuel_rate, "accelerator_pedal_position_d": _pedal,
    }  # fmt: skip


_DIRECT: dict[str, tuple[str, float]] = {
    "engine_speed": ("speed_rpm", 1.0),
    "mass_air_flow": ("meter_g_s", 1.0),
    "intake_manifold_pressure": ("sensed_kpa", 1.0),
    "short_term_fuel_trim_bank_1": ("short_1", 100.0),
    "long_term_fuel_trim_bank_1": ("long_1", 100.0),
    "short_term_fuel_trim_bank_2": ("short_2", 100.0),
    "long_term_fuel_trim_bank_2": ("long_2", 100.0),
    "engine_coolant_temperature": ("coolant_c", 1.0),
    "intake_air_temperature": ("intake_c", 1.0),
    "ignition_timing_advance": ("spark_deg", 1.0),
    "commanded_evaporative_purge": ("purge", 100.0),
    "vehicle_speed": ("road_kmh", 1.0),
    "time_since_engine_start": ("since_start_s", 1.0),
    "wide_range_sensor_1_equivalence_ratio_with_current": ("sensed_lambda", 1.0),
    "commanded_equivalence_ratio": ("commanded_lambda", 1.0),
}
