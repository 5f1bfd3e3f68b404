"""What a logger writes of a car: parameters asked for one after another, in the standard's steps,
some answers lost; and the car file that its owner would write."""

import csv
import io
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Final

import numpy as np
from numpy.typing import NDArray

from measure.second_engine.cars import Cars
from measure.second_engine.days import Days
from measure.second_engine.ranges import draw, happens

__all__ = ["Logged", "Reports", "car_text", "draw_reports", "recording_text"]

Floats = NDArray[np.float64]

_FAST: Final = (
    "engine_speed", "mass_air_flow", "intake_manifold_pressure", "throttle_position",
    "short_term_fuel_trim_bank_1",
)  # fmt: skip
#: How many cars report each of the others; common practice, no source.
_OTHERS: Final = {
    "long_term_fuel_trim_bank_1": 1.0,
    "engine_coolant_temperature": 0.97,
    "intake_air_temperature": 0.92,
    "fuel_system_status": 0.8,
    "barometric_pressure": 0.6,
    "commanded_evaporative_purge": 0.6,
    "ignition_timing_advance": 0.7,
    "calculated_load": 0.6,
    "absolute_load": 0.35,
    "accelerator_pedal_position_d": 0.4,
    "relative_throttle_position": 0.35,
    "vehicle_speed": 0.5,
}


@dataclass(frozen=True)
class Reports:
    """Which parameters a car answers for, slow ones apart, how many a second, and what is lost."""

    fast: tuple[str, ...]
    slow: tuple[str, ...]
    rate: float
    lost: float


@dataclass(frozen=True)
class Logged:
    """One car's traces at ``seconds``, by the names of `drive.Traces`, and what it is."""

    seconds: Floats
    values: dict[str, Floats]
    car: Cars
    day: Days


def draw_reports(rng: np.random.Generator, car: Cars) -> Reports:
    """What the car answers for; of its sensors of air what it was built with. A flexible car
    tells what it takes its fuel for."""
    without = set()
    if not car.airflow_metered:
        without.add("mass_air_flow")
    if not car.reports_pressure:
        without.add("intake_manifold_pressure")
    slow = [name for name, share in _OTHERS.items() if rng.random() < share]
    if car.flexible:
        slow.append("ethanol_percentage")
    return Reports(
        tuple(name for name in _FAST if name not in without),
        tuple(slow),
        draw(rng, "rate"),
        draw(rng, "lost"),
    )


def recording_text(rng: np.random.Generator, logged: Logged, reports: Reports, end: float) -> str:
    """The CSV of a recording of ``end`` seconds."""
    columns = [*reports.fast, *reports.slow]
    shown = {name: _parameter(rng, name, logged) for name in columns}
    scales = _scales()
    hole = (end * rng.uniform(0.1, 0.9), rng.uniform(3.0, 8.0)) if happens(rng, "hole") else (0, 0)
    out = io.StringIO()
    heads = [f"{name} [{scales[name][4]}]" for name in columns]
    out.write(",".join(["time [s]", *heads]) + "\n")
    now, turn = 0.0, 0
    while True:
        asked = list(reports.fast)
        asked += [reports.slow[(turn + k) % len(reports.slow)] for k in (0, 1)]
        turn += 2
        for name in asked:
            now += (1.0 / reports.rate) * rng.uniform(0.8, 1.2)
            at = int(now / (logged.seconds[1] - logged.seconds[0]))
            if now >= end or at >= len(logged.seconds):
                return out.getvalue()
            if rng.random() < reports.lost or hole[0] <= now < hole[0] + hole[1]:
                continue
            cells = [""] * len(columns)
            cells[columns.index(name)] = _stepped(float(shown[name][at]), scales[name])
            out.write(f"{now:.3f}," + ",".join(cells) + "\n")


def _parameter(rng: np.random.Generator, name: str, logged: Logged) -> Floats:
    """A parameter along the traces, in its own unit, as its sensor tells it."""
    v, day = logged.values, logged.day
    n = len(logged.seconds)
    if name in _CONSTANT:
        off = rng.normal(0.0, 1.0) if "temp" in name else 0.0
        return np.full(n, _CONSTANT[name](day) + off)
    if name == "mass_air_flow":
        return v["meter"] * 1e3 * (1.0 + 0.01 * rng.standard_normal(n))
    if name == "intake_manifold_pressure":
        return v["sensed_pressure"] / 1e3 + 0.4 * rng.standard_normal(n)
    if name in {"throttle_position", "relative_throttle_position"}:
        return _plate(rng, name, logged)
    return _PLAIN[name](v) if name in _PLAIN else _load(name, logged)


def _load(name: str, logged: Logged) -> Floats:
    """Absolute load, or load over what the engine could draw today [%]."""
    v, car, day = logged.values, logged.car, logged.day
    charge = v["believed"] * 4.0 * math.pi / v["speed"] / float(car.displacement)
    if name == "absolute_load":
        return 100.0 * charge / 1.184
    density = float(day.barometer) / (287.05 * float(day.intake))
    return np.minimum(100.0 * charge / (0.95 * float(car.eta_full) * density), 100.0)


def _plate(rng: np.random.Generator, name: str, logged: Logged) -> Floats:
    car = logged.car
    travel = math.pi / 2 - float(car.closed)
    opening = logged.values["opening"] + math.radians(0.03) * rng.standard_normal(
        len(logged.seconds)
    )
    span = float(car.open_reading - car.closed_reading)
    if name == "throttle_position":
        return float(car.closed_reading) + span * opening / travel
    return np.maximum(span * (opening - float(car.relative_zero)) / travel, 0.0)


_CONSTANT: Final[Mapping[str, Callable[[Days], float]]] = {
    "engine_coolant_temperature": lambda day: float(day.coolant) - 273.15,
    "intake_air_temperature": lambda day: float(day.intake) - 273.15,
    "barometric_pressure": lambda day: float(day.barometer) / 1e3,
    "ethanol_percentage": lambda day: 100.0 * float(day.ethanol_guess),
    "fuel_system_status": lambda _: 2.0,
    "vehicle_speed": lambda _: 0.0,
}
_PLAIN: Final[Mapping[str, Callable[[Mapping[str, Floats]], Floats]]] = {
    "engine_speed": lambda v: v["speed"] * 30.0 / math.pi,
    "short_term_fuel_trim_bank_1": lambda v: 100.0 * v["short"],
    "long_term_fuel_trim_bank_1": lambda v: 100.0 * v["long"],
    "commanded_evaporative_purge": lambda v: 40.0 * v["purge"],
    "ignition_timing_advance": lambda v: v["spark"],
    "accelerator_pedal_position_d": lambda v: 15.0 + 120.0 * v["pedal"],
}


def _scales() -> dict[str, tuple[float, float, float, int, str]]:
    """Zero, multiplier, divisor, highest code and unit of every parameter of the standard."""
    text = resources.files("bellmouth.j1979").joinpath("parameters.csv").read_text("utf-8")
    return {
        row["name"]: (
            float(row["zero"]), float(row["multiplier"]), float(row["divisor"]),
            256 ** int(row["width"]) - 1, row["unit"],
        )
        for row in csv.DictReader(io.StringIO(text)) if row["kind"] in {"number", "flags"}
    }  # fmt: skip


def _stepped(value: float, scale: tuple[float, float, float, int, str]) -> str:
    zero, multiplier, divisor, highest, _ = scale
    code = min(max(round(value * divisor / multiplier + zero), 0), highest)
    return f"{round((code - zero) * multiplier / divisor, 4):.10g}"


def car_text(rng: np.random.Generator, car: Cars, day: Days) -> str:
    """The car file: what must be there, the idle of nine cars in ten, and a little more."""
    lines = [
        f"displacement_l = {float(car.displacement) * 1e3:.1f}",
        f'metering = "{"airflow" if car.airflow_metered else "pressure"}"',
    ]
    if happens(rng, "idle_told"):
        lines.append(f"idle_rpm = {10 * round(float(car.told_idle) * 3 / math.pi):d}")
    if rng.random() < 0.5:
        lines.append("cylinders = 4")
    if rng.random() < 0.3:
        lines.append(f"throttle_bore_mm = {{ value = {1e3 * float(car.bore):.0f}, sd = 1 }}")
    if rng.random() < 0.15:
        lines.append(f"barometric_pressure_kpa = {float(day.barometer) / 1e3:.1f}")
    if rng.random() < 0.15:
        told = 100.0 * float(day.ethanol) + rng.normal(0.0, 2.0)
        lines.append(f"ethanol_pct = {{ value = {min(max(told, 0.0), 100.0):.0f}, sd = 3 }}")
    return "\n".join(lines) + "\n"
