"""One car as it was built: drawn from `ranges`, kept only where its parts go together."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from measure.second_engine import flow
from measure.second_engine.ranges import RANGES, draw, happens

__all__ = ["Cars", "draw_car", "friction_pa", "stack"]

Floats = NDArray[np.float64]
T = TypeVar("T")

#: Heat set free a kg of air at stoichiometry [J/kg]: 43.5 MJ/kg over 14.6 (Heywood, app. D).
HEAT = 43.5e6 / 14.6
#: The day that a car is laid out for.
NOMINAL_PA, NOMINAL_K = 100e3, 298.15


@dataclass(frozen=True)
class Cars:
    """Constants of the cars, each of shape (cars,); SI units, angles in rad unless named."""

    displacement: Floats
    compression: Floats
    volume: Floats
    inertia: Floats
    indicated: Floats
    friction: Floats
    roughness: Floats
    eta_full: Floats
    residual: Floats
    wave: Floats
    wave_phase: Floats
    heating: Floats
    idle_flow: Floats
    idle_speed: Floats
    told_idle: Floats
    bore: Floats
    closed: Floats
    slope: Floats
    bypass: Floats
    discharge: Floats
    shape: Floats
    compressible: Floats
    idle_opening: Floats
    closed_reading: Floats
    open_reading: Floats
    relative_zero: Floats
    meter_gain: Floats
    meter_bend: Floats
    meter_lag: Floats
    pressure_gain: Floats
    pressure_zero: Floats
    table_level: Floats
    table_slope: Floats
    table_heating: Floats
    authority: Floats
    base_spark: Floats
    best_spark: Floats
    spark_reserve: Floats
    trim_limit: Floats
    trim_ramp: Floats
    trim_jump: Floats
    learning_time: Floats
    two_cells: Floats
    wide: Floats
    sensor_lag: Floats
    exhaust_volume: Floats
    airflow_metered: Floats
    flexible: Floats
    laid_for: Floats
    reports_pressure: Floats


def stack(items: Sequence[T]) -> T:
    """Several of one car, or of one day, as one of many."""
    kind = type(items[0])
    names = [one.name for one in fields(kind)]  # type: ignore[arg-type]
    built = {name: np.array([float(getattr(item, name)) for item in items]) for name in names}
    return kind(**built)


def friction_pa(speed: Floats) -> Floats:
    """Rubbing and accessory friction as mean pressure [Pa] at a crank speed [rad/s].

    0.6 of the motored line .97 + .15 n + .05 n² bar, n in 1,000 rpm (Barnes-Moss; Heywood 13.6,
    from memory), as that holds the pumping, too.
    """
    n = speed * 30.0 / math.pi / 1000.0
    return np.asarray(0.6e5 * (0.97 + 0.15 * n + 0.05 * n**2))


def draw_car(rng: np.random.Generator) -> Cars:
    """A car whose parts go together, with fields of no dimension."""
    while True:
        drawn = {name: draw(rng, name) for name in RANGES}
        built = _engine(drawn, rng) and _throttle(drawn)
        if built:
            break
    kind = int(rng.integers(3))
    v = drawn
    off = v["idle_off"] if happens(rng, "idle_off") else 0.0
    zero = (0.0, v["idle_opening"], v["idle_opening"] + math.radians(v["rest"]))
    more = {
        "idle_speed": v["idle_speed"] + off * math.pi / 30.0,
        "told_idle": v["idle_speed"],
        "relative_zero": zero[int(rng.integers(3))],
        "table_heating": v["heating"] * rng.uniform(0.7, 1.3),
        "two_cells": happens(rng, "two_cells"),
        "wide": happens(rng, "wide_sensor"),
        "airflow_metered": kind != 1,
        "reports_pressure": kind != 0,
        "flexible": happens(rng, "flexible"),
        "laid_for": rng.choice([0.05, 0.10]),
        "pressure_zero": 1e3 * v["pressure_zero"],
        "shape": v["shape"],
    }
    values = drawn | more
    return Cars(**{one.name: cast("Floats", values[one.name]) for one in fields(Cars)})


def _engine(v: dict[str, float], rng: np.random.Generator) -> bool:
    """Pressure at idle from its air, residuals from its two fillings, friction from its air."""
    litres = v["displacement"]
    v["displacement"] = swept = litres * 1e-3
    v["idle_speed"] = speed = v["idle_rpm"] * math.pi / 30.0
    v["idle_flow"] = air = v["idle_air"] * litres * 1e-3
    v["volume"] *= swept
    v["inertia"] *= litres
    v["wave_phase"] = rng.uniform(0.0, 2.0 * math.pi)
    charge = air * 4.0 * math.pi / speed
    pressure = charge * flow.R * (NOMINAL_K + v["heating"]) / (v["eta_idle"] * swept)
    v["pressure"] = pressure
    wave = float(flow.waves(np.array(v["wave"]), np.array(v["wave_phase"]), np.array(speed)))
    back = (NOMINAL_PA / pressure) ** (1.0 / flow.GAMMA) - 1.0
    v["residual"] = (1.0 - v["eta_idle"] / (v["eta_full"] * wave)) / back if back > 0 else 0.0
    spark = 1.0 - 4.5e-4 * (v["best_spark"] - v["base_spark"]) ** 2
    work = charge * HEAT * v["indicated"] * spark - (NOMINAL_PA - pressure) * swept
    v["friction"] = work / swept / float(friction_pa(np.array(speed)))
    return all(_inside(v[name], name) for name in ("residual", "friction")) and _inside(
        pressure / 1e3, "idle_pressure"
    )


def _throttle(v: dict[str, float]) -> bool:
    """A bore as large as engines of this size have, and the opening that idle air asks for."""
    litres = v["displacement"] * 1e3
    v["bore"] = bore = 1e-3 * (30.0 + 16.0 * litres**0.7) * v["bore_spread"]
    v["slope"] = slope = v["slope"] * 1e-6 * 180.0 / math.pi
    v["closed"] = flow.closed_angle(bore, slope)
    v["bypass"] *= 1e-6 * litres
    area = v["idle_flow"] / float(flow.orifice(1.0, NOMINAL_PA, v["pressure"], NOMINAL_K))
    v["idle_opening"] = max((area - v["bypass"]) / (v["discharge"] * slope), 0.0)
    return _inside(math.degrees(v["closed"]), "closed_angle") and _inside(
        math.degrees(v["idle_opening"]), "idle_opening"
    )


def _inside(value: float, name: str) -> bool:
    return RANGES[name].low <= value <= RANGES[name].high
