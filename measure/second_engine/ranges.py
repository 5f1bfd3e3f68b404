"""Every range that a car, a day and a fault are drawn from, each stated once."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

__all__ = ["RANGES", "SHARES", "STATED", "Range", "draw", "happens"]

#: Stated of real cars, whoever's simulator it is; `docs/accuracy.md` has the list.
STATED: Final = "stated range"
_COMMON: Final = "common practice, no source"
_BEGIN: Final = "the beginning stated, the end common practice, no source"


@dataclass(frozen=True)
class Range:
    """From ``low`` to ``high`` in ``unit``, evenly, or evenly in the logarithm."""

    low: float
    high: float
    unit: str
    source: str = STATED
    logarithmic: bool = False


#: What is drawn from a range, by name.
RANGES: Final[Mapping[str, Range]] = {
    # the engine
    "displacement": Range(1.0, 3.2, "L", _COMMON, logarithmic=True),
    "compression": Range(9.3, 12.0, "-", _COMMON),
    "idle_rpm": Range(600, 850, "rpm"),
    "idle_off": Range(-70, 70, "rpm"),
    "idle_air": Range(0.6, 1.9, "g/s/L"),
    "idle_pressure": Range(20, 62, "kPa", _COMMON),
    "eta_idle": Range(0.42, 0.80, "of manifold state"),
    "eta_full": Range(0.56, 0.95, "of manifold state"),
    "residual": Range(0.02, 0.45, "-", _COMMON),
    "wave": Range(0.0, 0.03, "-"),
    "heating": Range(4, 38, "K"),
    "volume": Range(1.0, 2.5, "manifold/displacement", _COMMON),
    "indicated": Range(0.29, 0.38, "-", _COMMON),
    "friction": Range(0.35, 1.8, "of the published line", _COMMON),
    "inertia": Range(0.06, 0.13, "kg m2/L", _COMMON),
    "roughness": Range(0.02, 0.07, "of indicated torque", _COMMON),
    # the throttle body
    "slope": Range(1, 8, "mm2/deg", logarithmic=True),
    "bore_spread": Range(0.90, 1.14, "-", _COMMON),
    "closed_angle": Range(2.0, 14.0, "deg", _COMMON),
    "bypass": Range(0.4, 3.3, "mm2/L"),
    "discharge": Range(0.65, 0.98, "-"),
    "shape": Range(-0.35, 0.35, "-"),
    "compressible": Range(0.0, 0.06, "-", _COMMON),
    "idle_opening": Range(0.4, 9.0, "deg", _COMMON),
    "closed_reading": Range(0.4, 22, "%"),
    "open_reading": Range(78, 92, "%", _COMMON),
    "rest": Range(0, 4.5, "deg above the idle opening"),
    # its sensors
    "meter_gain": Range(-0.015, 0.015, "ln"),
    "meter_bend": Range(-0.008, 0.008, "exponent"),
    "dirty_bend": Range(-0.06, 0.06, "exponent"),
    "meter_lag": Range(0.02, 0.10, "s", _COMMON),
    "pressure_gain": Range(-0.006, 0.006, "ln"),
    "pressure_zero": Range(-0.3, 0.3, "kPa"),
    "table_level": Range(-0.02, 0.02, "of computed air", _COMMON),
    "table_slope": Range(-0.02, 0.02, "of computed air", _COMMON),
    # its controller
    "authority": Range(0.04, 0.15, "of idle air", _COMMON),
    "base_spark": Range(4, 14, "deg", _COMMON),
    "best_spark": Range(22, 32, "deg", _COMMON),
    "spark_reserve": Range(4, 10, "deg", _COMMON),
    "trim_limit": Range(0.20, 0.35, "-", _COMMON),
    "trim_ramp": Range(0.01, 0.03, "1/s", _COMMON),
    "trim_jump": Range(0.008, 0.02, "-", _COMMON),
    "learning_time": Range(25, 150, "s", _COMMON, logarithmic=True),
    "sensor_lag": Range(0.05, 0.25, "s", _COMMON),
    "exhaust_volume": Range(0.3, 1.0, "L/L", _COMMON),
    # the day
    "barometer": Range(88, 102.3, "kPa"),
    "intake": Range(-10, 55, "degC"),
    "coolant": Range(82, 98, "degC", _COMMON),
    "ethanol": Range(0, 85, "% by volume"),
    "blend": Range(0, 15, "% by volume, sold as petrol", _COMMON),
    "fuel_guess": Range(-2.5, 2.5, "% by volume", _COMMON),
    "load": Range(0.8, 4.0, "N m/L", _COMMON),
    "load_raise": Range(0, 200, "rpm"),
    "purge_air": Range(0.01, 0.07, "of idle air", _COMMON),
    "purge_fuel": Range(0.0, 0.12, "fuel in purged mass", _COMMON),
    "rate": Range(3, 22, "samples/s", logarithmic=True),
    "lost": Range(0.0, 0.05, "of samples", _COMMON),
    "held_rpm": Range(1200, 3500, "rpm"),
    # the faults
    "leak_airflow": Range(0.08, 0.45, "of idle air", _BEGIN, logarithmic=True),
    "leak_pressure": Range(0.08, 0.80, "of idle air", logarithmic=True),
    "off": Range(np.log(1 / 0.9), np.log(1 / 0.7), "|ln ratio|", _BEGIN, logarithmic=True),
    "deposit": Range(1.0, 5.0, "deg of opening", _BEGIN, logarithmic=True),
    "deposit_reach": Range(8, 25, "deg", _COMMON),
    "stale": Range(
        0.08,
        1.30,
        "of idle air",
        "the end stated, the beginning common practice, no source",
        logarithmic=True,
    ),
}
#: How often something is so.
SHARES: Final[Mapping[str, tuple[float, str]]] = {
    "healthy": (0.3, STATED),
    "idle_alone": (0.3, STATED),
    "idle_off": (0.15, STATED),
    "loaded_throughout": (0.2, STATED),
    "loaded_in_part": (0.4, STATED),
    "load_raises": (0.6, _COMMON),
    "purged": (0.4, STATED),
    "flexible": (0.1, _COMMON),
    "idle_told": (0.9, STATED),
    "wide_sensor": (0.4, _COMMON),
    "two_cells": (0.5, _COMMON),
    "hole": (0.1, _COMMON),
}


def draw(rng: np.random.Generator, name: str) -> float:
    """One value of `RANGES`."""
    of = RANGES[name]
    if of.logarithmic:
        return float(np.exp(rng.uniform(np.log(of.low), np.log(of.high))))
    return float(rng.uniform(of.low, of.high))


def happens(rng: np.random.Generator, name: str) -> bool:
    """Whether it is so this time, as often as `SHARES` says."""
    return bool(rng.random() < SHARES[name][0])
