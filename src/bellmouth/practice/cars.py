"""Practice cars: what each car is like, drawn at least as widely as real cars are.

Ranges are those that the project is judged on; where a field has none there, the range is common
practice, no source.
"""

from dataclasses import dataclass

import numpy as np

from bellmouth.practice.columns import Columns, Floats

__all__ = [
    "HEAT_PER_GRAM",
    "Cars",
    "draw_cars",
    "idle_spark_factor",
    "learnable_deg",
    "spark_away_deg",
    "spark_factor",
]

#: Heat of combustion per gram of air in a stoichiometric charge, whatever the blend. [J/g]
HEAT_PER_GRAM = 2950.0
_R = 0.28705
_SPARK_CURVE = 0.00045


@dataclass(frozen=True)
class Cars(Columns):
    """Everything about cars that a repair does not change. Units are in the names.

    Yes-or-no fields hold 0 or 1: ``airflow_metered``, ``reports_pressure``, ``turbo``,
    ``flex``, ``wide_range``. ``idle_speed_rpm`` is where the warm engine is held,
    ``specified_rpm`` where the maker says. ``relative_zero`` is 0 (stop), 1 (learned idle) or 2
    (spring rest).
    """

    displacement_l: Floats
    cylinders: Floats
    banks: Floats
    turbo: Floats
    airflow_metered: Floats
    reports_pressure: Floats
    flex: Floats
    wide_range: Floats
    # Filling
    filling_idle: Floats
    filling_load: Floats
    filling_speed: Floats
    filling_dip: Floats
    wave_share: Floats
    wave_speed: Floats
    wave_phase: Floats
    wave_kpa: Floats
    heating_k: Floats
    heating_fade: Floats
    manifold_l: Floats
    # Crank
    inertia_kg_m2: Floats
    efficiency: Floats
    friction_kpa: Floats
    friction_speed_kpa: Floats
    best_spark_deg: Floats
    idle_spark_deg: Floats
    roughness: Floats
    # Plate
    bore_mm: Floats
    discharge: Floats
    plate_closed_deg: Floats
    slope_mm2_deg: Floats
    plate_shape: Floats
    plate_shape_deg: Floats
    bypass_mm2: Floats
    fade_deg: Floats
    idle_opening_deg: Floats
    floor_deg: Floats
    closed_reading_pct: Floats
    reading_pct_deg: Floats
    rest_above_idle_deg: Floats
    relative_zero: Floats
    commanded_is_relative: Floats
    airbox_kpa: Floats
    # Idle
    specified_rpm: Floats
    idle_speed_rpm: Floats
    idle_airflow_g_s: Floats
    idle_kpa: Floats
    raise_rpm: Floats
    load_kpa: Floats
    load_feedforward: Floats
    idle_gain: Floats
    spark_gain: Floats
    authority_up_deg: Floats
    # Sensors
    meter_log_gain: Floats
    meter_bend: Floats
    meter_lag_s: Floats
    pressure_gain: Floats
    pressure_offset_kpa: Floats
    boost_gain: Floats
    table_log_gain: Floats
    table_ripple: Floats
    assumed_heating: Floats
    intake_offset_k: Floats
    # Fuel
    injector_log_gain: Floats
    bank_log_gain: Floats
    short_limit: Floats
    long_limit: Floats
    total_limit: Floats
    trim_speed: Floats
    mature: Floats
    long_s: Floats
    lambda_bias: Floats
    film_share: Floats
    mixture_scatter: Floats
    purge_mm2: Floats
    purge_richness: Floats
    fuel_cut_rpm: Floats


def spark_factor(away_deg: Floats) -> Floats:
    """Torque at a spark this far from the best, over the best. [deg] -> [-]"""
    return np.asarray(np.maximum(0.25, 1.0 - _SPARK_CURVE * away_deg * away_deg))


def spark_away_deg(factor: Floats) -> Floats:
    """How far from the best spark this share of its torque is left; 0 for more. [-] -> [deg]"""
    return np.asarray(np.sqrt(np.maximum(1.0 - factor, 0.0) / _SPARK_CURVE))


def idle_spark_factor(car: Cars) -> Floats:
    """Torque left at the car's idle spark. [-]"""
    return spark_factor(car.best_spark_deg - car.idle_spark_deg)


def learnable_deg(car: Cars) -> Floats:
    """Opening that idle learning may add to what a clean engine idles at. [deg]"""
    return np.asarray(1.6 * car.authority_up_deg + 3.0)


def _log_uniform(rng: np.random.Generator, low: float, high: float, n: int) -> Floats:
    return np.exp(rng.uniform(np.log(low), np.log(high), n))


def _trimmed(rng: np.random.Generator, sd: float, most: float, n: int) -> Floats:
    return np.clip(rng.normal(0.0, sd, n), -most, most)


def _flag(rng: np.random.Generator, share: float, n: int) -> Floats:
    return (rng.random(n) < share).astype(np.float64)


def _body(rng: np.random.Generator, n: int) -> dict[str, Floats]:
    litres = np.round(np.exp(rng.normal(np.log(1.8), 0.35, n)), 2)
    litres = np.clip(litres, 0.9, 5.6)
    draw = rng.random(n)
    cylinders = np.where(litres < 1.3, np.where(draw < 0.5, 3.0, 4.0), 4.0)
    cylinders = np.where(litres > 2.2, np.where(draw < 0.75, 6.0, 4.0), cylinders)
    cylinders = np.where(litres > 3.8, 8.0, cylinders)
    banks = np.where((cylinders > 5) & (rng.random(n) < 0.85), 2.0, 1.0)
    metering = rng.integers(0, 3, n)
    return {
        "displacement_l": litres,
        "cylinders": cylinders,
        "banks": banks,
        "turbo": _flag(rng, 0.18, n) * (litres < 3.0),
        "airflow_metered": (metering < 2).astype(np.float64),
        "reports_pressure": (metering != 1).astype(np.float64),
        "flex": _flag(rng, 0.14, n),
    }


def _filling(rng: np.random.Generator, n: int) -> dict[str, Floats]:
    idle = rng.uniform(0.42, 0.80, n)
    load = rng.uniform(np.maximum(0.56, idle + 0.03), 0.95)
    return {
        "filling_idle": idle,
        "filling_load": load,
        "filling_speed": _trimmed(rng, 0.07, 0.16, n),
        "filling_dip": rng.uniform(0.03, 0.20, n),
        "wave_share": rng.uniform(0.005, 0.03, n),
        "wave_speed": rng.uniform(4.0, 9.0, n),
        "wave_phase": rng.uniform(0.0, 2 * np.pi, n),
        "wave_kpa": rng.uniform(6.0, 14.0, n),
        "heating_k": rng.uniform(4.0, 38.0, n),
        "heating_fade": rng.uniform(0.08, 0.5, n),
    }


def _crank(rng: np.random.Generator, n: int, litres: Floats) -> dict[str, Floats]:
    best = rng.uniform(24.0, 34.0, n)
    return {
        "manifold_l": litres * rng.uniform(0.9, 2.4, n),
        "inertia_kg_m2": 0.03 + litres * rng.uniform(0.06, 0.10, n),
        "efficiency": rng.uniform(0.30, 0.42, n),
        "friction_speed_kpa": rng.uniform(10.0, 24.0, n),
        "best_spark_deg": best,
        "idle_spark_deg": best - rng.uniform(9.0, 31.0, n),
        "roughness": rng.uniform(0.006, 0.02, n),
    }


def _plate(rng: np.random.Generator, n: int, litres: Floats) -> dict[str, Floats]:
    wanted = np.log(1.5 * litres) + rng.normal(0.0, 0.55, n)
    closed = np.where(rng.random(n) < 0.45, rng.uniform(9.0, 22.0, n), rng.uniform(0.4, 22.0, n))
    return {
        "discharge": rng.uniform(0.65, 0.98, n),
        "plate_closed_deg": rng.uniform(4.0, 11.0, n),
        "slope_mm2_deg": np.clip(np.exp(wanted), 1.0, 8.0),
        "plate_shape": rng.uniform(-0.35, 0.35, n),
        "plate_shape_deg": rng.uniform(2.0, 9.0, n),
        "bypass_mm2": litres * _log_uniform(rng, 0.4, 3.3, n),
        "fade_deg": _log_uniform(rng, 3.0, 12.0, n),
        "closed_reading_pct": closed,
        "reading_pct_deg": rng.uniform(0.95, 1.25, n),
        "rest_above_idle_deg": rng.uniform(0.0, 4.5, n),
        "relative_zero": rng.integers(0, 3, n).astype(np.float64),
        "commanded_is_relative": _flag(rng, 0.4, n),
        "airbox_kpa": rng.uniform(0.3, 2.0, n),
    }


def _idle(rng: np.random.Generator, n: int) -> dict[str, Floats]:
    specified = 10.0 * np.round(rng.uniform(600.0, 850.0, n) / 10.0)
    off = (rng.random(n) < 0.15) * rng.uniform(15.0, 70.0, n) * rng.choice([-1.0, 1.0], n)
    return {
        "specified_rpm": specified,
        "idle_speed_rpm": specified + off,
        "raise_rpm": rng.uniform(0.0, 200.0, n) * _flag(rng, 0.7, n),
        "load_kpa": rng.uniform(12.0, 55.0, n),
        "load_feedforward": rng.uniform(0.4, 1.0, n),
        "idle_gain": rng.uniform(0.4, 1.0, n),
        "spark_gain": rng.uniform(0.02, 0.06, n),
        "authority_up_deg": rng.uniform(2.5, 6.5, n),
    }


def _sensors(rng: np.random.Generator, n: int) -> dict[str, Floats]:
    return {
        "meter_log_gain": rng.uniform(-0.015, 0.015, n),
        "meter_bend": rng.uniform(-0.008, 0.008, n),
        "meter_lag_s": rng.uniform(0.02, 0.12, n),
        "pressure_gain": 1.0 + _trimmed(rng, 0.003, 0.006, n),
        "pressure_offset_kpa": rng.uniform(-0.3, 0.3, n),
        "boost_gain": 1.0 + _trimmed(rng, 0.004, 0.008, n),
        "table_log_gain": _trimmed(rng, 0.018, 0.04, n),
        "table_ripple": rng.uniform(0.0, 0.02, n),
        "assumed_heating": rng.uniform(0.75, 1.25, n),
        "intake_offset_k": _trimmed(rng, 1.0, 2.0, n),
    }


def _fuel(rng: np.random.Generator, n: int, litres: Floats) -> dict[str, Floats]:
    long_limit = rng.uniform(0.18, 0.35, n)
    short_limit = rng.uniform(0.15, 0.30, n)
    return {
        "injector_log_gain": _trimmed(rng, 0.015, 0.03, n),
        "bank_log_gain": _trimmed(rng, 0.008, 0.02, n),
        "short_limit": short_limit,
        "long_limit": long_limit,
        "total_limit": np.minimum(rng.uniform(0.20, 0.40, n), short_limit + long_limit),
        "trim_speed": rng.uniform(0.6, 1.5, n),
        "mature": np.where(rng.random(n) < 0.85, rng.uniform(0.8, 1.0, n), rng.uniform(0, 0.5, n)),
        "long_s": _log_uniform(rng, 25.0, 400.0, n),
        "lambda_bias": _trimmed(rng, 0.002, 0.005, n),
        "film_share": rng.uniform(0.05, 0.3, n),
        "mixture_scatter": rng.uniform(0.003, 0.016, n),
        "purge_mm2": litres * rng.uniform(0.15, 0.7, n),
        "purge_richness": rng.uniform(0.0, 2.2, n),
        "fuel_cut_rpm": rng.uniform(1700.0, 2200.0, n),
    }


def _idle_state(rng: np.random.Generator, d: dict[str, Floats]) -> dict[str, Floats]:
    """Idle airflow, manifold pressure and the friction that makes this airflow necessary."""
    n = len(d["displacement_l"])
    per_litre = np.exp(np.clip(rng.normal(0.03, 0.28, n), np.log(0.6), np.log(1.9)))
    speed, charge_k = d["idle_speed_rpm"], 303.0 + d["heating_k"]
    per_cycle = per_litre * 120.0 / speed
    pressure = per_cycle * _R * charge_k / d["filling_idle"]
    spark = spark_factor(d["best_spark_deg"] - d["idle_spark_deg"])
    needed = 100.0 - pressure + d["friction_speed_kpa"] * speed / 1000.0 + 25.0
    efficiency = np.maximum(d["efficiency"], needed / (HEAT_PER_GRAM * per_cycle * spark))
    indicated = efficiency * spark * HEAT_PER_GRAM * per_cycle
    return {
        "idle_airflow_g_s": per_litre * d["displacement_l"],
        "idle_kpa": pressure,
        "efficiency": efficiency,
        "friction_kpa": indicated - needed + 25.0,
    }


def draw_cars(rng: np.random.Generator, n: int, variant: str) -> Cars:
    """Draw ``n`` cars; some of them are impossible, see :func:`possible` in ``population``.

    ``variant`` only decides the kind of oxygen sensor: wide-range on B and D, narrow on A and
    E, and either on C.
    """
    d = _body(rng, n)
    d |= _filling(rng, n)
    d |= _crank(rng, n, d["displacement_l"]) | _plate(rng, n, d["displacement_l"])
    d |= _idle(rng, n) | _sensors(rng, n) | _fuel(rng, n, d["displacement_l"])
    d |= _idle_state(rng, d)
    share = {"A": 0.0, "B": 1.0, "C": 0.5, "D": 1.0, "E": 0.0}[variant]
    d["wide_range"] = _flag(rng, share, n)
    # Share of the idle opening, until that is solved. Where pressure is metered the controller has
    # little to close and a leak makes the engine idle high; a meter's trims show it either way.
    least = np.where(d["airflow_metered"] > 0, 0.0, 0.7)
    most = np.where(d["airflow_metered"] > 0, 0.7, 1.0)
    d["floor_deg"] = rng.uniform(least, most)
    d["idle_opening_deg"] = np.full(n, np.nan)
    d["bore_mm"] = np.full(n, np.nan)
    return Cars(**d)
