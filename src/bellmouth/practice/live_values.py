"""What the practice car's engine controller reports at this instant, by parameter."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from bellmouth.j1979 import parameters
from bellmouth.practice.columns import Floats
from bellmouth.practice.live_engine import LiveEngine
from bellmouth.practice.signals import REPORTED, Reporter

__all__ = ["LiveValues", "Surroundings"]

#: Noise of the signals before they are coded, as in the batch: absolute, and as a share.
_NOISE: dict[str, tuple[float, float]] = {
    "mass_air_flow": (0.0, 0.012),
    "intake_manifold_pressure": (0.35, 0.0),
    "throttle_position": (0.06, 0.0),
    "relative_throttle_position": (0.06, 0.0),
    "engine_speed": (1.5, 0.0),
    "control_module_voltage": (0.03, 0.0),
    "boost_pressure": (0.2, 0.0),
}
# Fuel-system status, SAE J1979, quoted from memory.
_OPEN_COLD, _CLOSED, _OPEN_DRIVING = 1, 2, 4
_PEDAL_D = (15.0, 0.70)  # reading at rest and per per cent of travel: two tracks of one pedal
_PEDAL_E = (7.5, 0.35)


@dataclass
class Surroundings:
    """What is not the engine's but is reported by its controller."""

    voltage_v: float = 12.6
    pedal_pct: float = 0.0
    pedal_rest_pct: float = 0.0
    fuel_level_pct: float = 55.0
    load: float = 0.0


class LiveValues:
    """Values by parameter, read one by one as they are asked for.

    ``names`` are those that this car reports, as far as engine and pedal go; codes and monitors
    are the trouble keeper's.
    """

    def __init__(self, engine: LiveEngine, around: Surroundings, seed: int) -> None:
        self._engine, self._around = engine, around
        self._rng = np.random.default_rng([seed, 21])
        case = engine.case
        self._row = case.car.row(0)
        self.banks = int(self._row["banks"])
        self._barometric_error_kpa = float(self._rng.normal(0.0, 0.35))
        self._channel: dict[str, Floats] = engine.look()
        self._reporter = self._new_reporter()
        self.names = self._reported()

    def _new_reporter(self) -> Reporter:
        case, run = self._engine.case, self._engine.run
        return Reporter(
            case.car, case.fault, case.weather, self._channel, float(run.idle.remembered_deg()[0]),
            self._barometric_error_kpa,
        )  # fmt: skip

    def _reported(self) -> frozenset[str]:
        """Everything that the car has a sensor for."""
        row, names = self._row, set(REPORTED) | set(self._own)
        without = {
            "mass_air_flow": row["airflow_metered"] > 0,
            "intake_manifold_pressure": row["reports_pressure"] > 0,
            "boost_pressure": row["turbo"] > 0,
            "ethanol_percentage": row["flex"] > 0,
            "wide_range_sensor_1_equivalence_ratio_with_current": row["wide_range"] > 0,
            "oxygen_sensor_voltage_bank_1_sensor_1": row["wide_range"] <= 0,
            "short_term_fuel_trim_bank_2": row["banks"] > 1,
            "long_term_fuel_trim_bank_2": row["banks"] > 1,
        }
        return frozenset(names - {name for name, has in without.items() if not has})

    def refresh(self) -> None:
        """Take the engine's state of this instant."""
        self._channel.update(self._engine.look())

    def show(self, channel: Mapping[str, Floats]) -> None:
        """Take a state other than the engine's present one."""
        self._channel.update(channel)

    def remember_idle(self) -> None:
        """Take over the learned idle opening, to which some cars relate their throttle."""
        self._reporter = self._new_reporter()

    def value(self, name: str) -> float:
        """One parameter, in its unit, held inside the range that can be coded."""
        own = self._own.get(name)
        exact = own(self) if own else float(self._reporter.value(name)[0])
        absolute, share = _NOISE.get(name, (0.0, 0.0))
        if (absolute or share) and not (name == "engine_speed" and exact < 1.0):
            exact += float(self._rng.standard_normal()) * (absolute + share * abs(exact))
        row = parameters.by_name(name)
        return min(max(exact, row.least), row.most)

    def encoded(self, identifier: int) -> bytes:
        """Data bytes of one identifier; names that the car does not report are not available."""
        rows = parameters.by_identifier(identifier)
        values: Mapping[str, float] = {
            row.name: self.value(row.name) for row in rows if row.name in self.names
        }
        return parameters.encode(identifier, values)

    def total_trim_pct(self) -> tuple[float, float]:
        """Short and long trim together of each bank. [%]"""
        c = self._channel
        first, second = (float((c[f"short_{b}"] + c[f"long_{b}"])[0]) for b in (1, 2))
        return 100.0 * first, 100.0 * second

    @property
    def closed_loop(self) -> bool:
        """Whether the trims follow the sensor."""
        return bool(self._channel["closed_loop"][0] > 0)

    def _fuel_system(self) -> float:
        if self.closed_loop:
            return _CLOSED
        cold = self._channel["since_start_s"][0] < 20.0 or self._channel["coolant_c"][0] < 36.0
        return _OPEN_COLD if cold else _OPEN_DRIVING

    def _fuel_system_2(self) -> float:
        return self._fuel_system() if self._row["banks"] > 1 else 0.0

    def _pedal_d(self) -> float:
        return _PEDAL_D[0] + _PEDAL_D[1] * self._around.pedal_pct

    def _pedal_e(self) -> float:
        return _PEDAL_E[0] + _PEDAL_E[1] * self._around.pedal_pct

    def _pedal_relative(self) -> float:
        return self._around.pedal_pct - self._around.pedal_rest_pct

    def _voltage(self) -> float:
        return self._around.voltage_v

    def _fuel_level(self) -> float:
        return self._around.fuel_level_pct

    _own: ClassVar[dict[str, Callable[["LiveValues"], float]]] = {
        "fuel_system_status": _fuel_system,
        "fuel_system_status_bank_2": _fuel_system_2,
        "accelerator_pedal_position_d": _pedal_d,
        "accelerator_pedal_position_e": _pedal_e,
        "relative_accelerator_pedal_position": _pedal_relative,
        "control_module_voltage": _voltage,
        "fuel_level": _fuel_level,
        "fuel_type": lambda _: 1.0,  # petrol
        "obd_requirement": lambda _: 6.0,  # EOBD
        "oxygen_sensors_present_two_banks": lambda self: 0x33 if self.banks > 1 else 0x03,
    }
