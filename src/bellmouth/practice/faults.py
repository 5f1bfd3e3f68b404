"""What is wrong with a practice car, how big, and the weather and fuel of one recording."""

from dataclasses import dataclass

import numpy as np

from bellmouth.practice.cars import Cars, learnable_deg
from bellmouth.practice.columns import Columns, Floats
from bellmouth.practice.laws import FADES, PLATE_LAWS

__all__ = [
    "CAUSES",
    "PAIRS",
    "SIZE_UNITS",
    "Faults",
    "Weather",
    "draw_faults",
    "draw_weather",
    "leak_area_mm2",
    "sizes_of",
]

CAUSES = (
    "healthy", "leak", "meter_low", "meter_high", "fuel_low", "fuel_high", "deposit",
    "learned_stale", "pressure_low", "pressure_high", "boost_low", "boost_high",
)  # fmt: skip
PAIRS = (
    "leak+meter_low", "leak+meter_high", "leak+fuel_low", "leak+fuel_high", "leak+deposit",
    "meter_low+fuel_low", "meter_low+deposit", "meter_high+deposit", "fuel_low+deposit",
    "fuel_high+deposit", "leak+learned_stale", "meter_low+learned_stale",
)  # fmt: skip
SIZE_UNITS = {
    "leak": "mm", "deposit": "mm2", "learned_stale": "g/s", "meter_low": "ratio",
    "meter_high": "ratio", "fuel_low": "ratio", "fuel_high": "ratio", "pressure_low": "ratio",
    "pressure_high": "ratio", "boost_low": "ratio", "boost_high": "ratio",
}  # fmt: skip
_LEAK_DISCHARGE = 0.8
_CHOKED_G_S_PER_MM2 = 0.2362  # 100 kPa, 20 degC
_LEANEST = 1.22  # lambda at the trim limit that an engine still idles with
_RICHEST = 0.76
# Of idle air that stale learning leaves, or it is not worth acting on: common practice, no source.
_LEAST_LEFT = 0.05
_THICKEST_SOOT_MM = 0.5  # around the bore, where the plate idles: common practice, no source


@dataclass(frozen=True)
class Faults(Columns):
    """Sizes of faults: 0 areas and log ratios are healthy.

    ``leak_mm2`` is effective, ``leak_bank`` the share of the leak's air that bank 1 gets,
    ``stale_g_s`` the surplus idle air that learning remembers and ``stale_closable`` the share
    of it that feedback can take back at once.
    """

    leak_mm2: Floats
    leak_bank: Floats
    meter_log: Floats
    meter_bend: Floats
    fuel_log: Floats
    deposit_mm2: Floats
    stale_g_s: Floats
    stale_closable: Floats
    pressure_log: Floats
    boost_log: Floats


@dataclass(frozen=True)
class Weather(Columns):
    """Weather and fuel of one recording. Temperatures in degC, pressure in kPa, ethanol in %."""

    barometric_kpa: Floats
    ambient_c: Floats
    soak_k: Floats
    ethanol_pct: Floats
    ethanol_error_pct: Floats
    fuel_log: Floats
    coolant_c: Floats


def leak_area_mm2(diameter_mm: Floats) -> Floats:
    """Effective area of a round hole with discharge coefficient 0.8. [mm] -> [mm²]"""
    return _LEAK_DISCHARGE * np.pi / 4.0 * diameter_mm**2


def draw_weather(rng: np.random.Generator, car: Cars, cold: Floats) -> Weather:
    """Draw weather and fuel; ``cold`` marks recordings that begin with a cold engine."""
    n = len(car)
    ambient = np.clip(rng.normal(20.0, 14.0, n), -10.0, 55.0)
    blend = np.where(car.flex > 0, rng.uniform(0.0, 85.0, n), rng.uniform(0.0, 10.0, n))
    warm = rng.uniform(82.0, 98.0, n)
    return Weather(
        barometric_kpa=102.3 - 14.3 * rng.beta(1.0, 2.2, n),
        ambient_c=ambient,
        soak_k=rng.uniform(0.0, 14.0, n),
        ethanol_pct=blend,
        ethanol_error_pct=car.flex * np.clip(rng.normal(0.0, 2.0, n), -4.0, 4.0),
        fuel_log=np.clip(rng.normal(0.0, 0.006, n), -0.012, 0.012),
        coolant_c=np.where(cold > 0, np.clip(ambient + rng.uniform(0, 40, n), -10, 70), warm),
    )


def _size(rng: np.random.Generator, low: Floats | float, high: Floats | float, n: int) -> Floats:
    """Log-uniform; where the worst is below the smallest worth acting on, the smallest."""
    lowest = np.log(np.broadcast_to(np.asarray(low, dtype=np.float64), n))
    highest = np.maximum(np.log(np.broadcast_to(np.asarray(high, dtype=np.float64), n)), lowest)
    return np.exp(rng.uniform(lowest, highest))


def _bounds(car: Cars) -> tuple[Floats, Floats]:
    """Largest lean and rich log errors with which a car at its trim limit still idles."""
    return np.log(_LEANEST * (1 + car.total_limit)), -np.log(_RICHEST * (1 - car.total_limit))


def _deposit_worth_mm2(car: Cars, variant: str, degrees: Floats) -> Floats:
    """Deposit that idle control has to open the clean idle opening by so much for. [mm²]"""
    plate, fade = PLATE_LAWS[variant](car), FADES[variant]
    opening = car.idle_opening_deg + degrees
    kept = np.maximum(fade(opening, car.fade_deg), 0.05)
    return np.asarray((plate(opening) - plate(car.idle_opening_deg)) / kept)


def _worst_deposit_deg(car: Cars, variant: str) -> Floats:
    """Opening beyond the clean idle's that idle learning can still make up for, or that the
    thickest rim of soot asks for, whichever is less. [deg]"""
    rim_mm2 = np.pi * car.bore_mm * _THICKEST_SOOT_MM * car.discharge
    low, high = np.ones(len(car)), learnable_deg(car)
    for _ in range(30):
        middle = 0.5 * (low + high)
        fits = _deposit_worth_mm2(car, variant, middle) < rim_mm2
        low, high = np.where(fits, middle, low), np.where(fits, high, middle)
    return low


def _deposit_mm2(rng: np.random.Generator, car: Cars, variant: str, paired: Floats) -> Floats:
    """From one degree of opening to the worst that idle control can learn. [mm²]"""
    worst = _worst_deposit_deg(car, variant) * paired
    return _deposit_worth_mm2(car, variant, _size(rng, 1.0, worst, len(car)))


def draw_faults(rng: np.random.Generator, car: Cars, causes: list[str], variant: str) -> Faults:
    """Draw sizes for each car's cause (or pair joined with ``+``), log-uniform.

    From the smallest worth acting on to the worst that the car still idles with; members of a
    pair share what the trims can make up.
    """
    n = len(car)
    parts = [set(c.split("+")) for c in causes]

    def has(*names: str) -> Floats:
        return np.array([float(bool(p & set(names))) for p in parts])

    paired = np.array([0.6 if len(p) > 1 else 1.0 for p in parts])
    lean, rich = (b * paired for b in _bounds(car))
    share = _leak_share(rng, car, lean, n)
    bent = has("meter_low", "meter_high") * rng.uniform(-0.06, 0.06, n) * car.airflow_metered
    low, high = has("meter_low"), has("meter_high")
    short, much = has("fuel_low"), has("fuel_high")
    ratio = np.log(1.10)
    return Faults(
        leak_mm2=has("leak") * share * car.idle_airflow_g_s / _CHOKED_G_S_PER_MM2,
        leak_bank=np.where(rng.random(n) < 0.4, rng.uniform(0.6, 1.0, n), 0.5),
        meter_log=high * _size(rng, ratio, np.minimum(rich, 0.45), n)
        - low * _size(rng, ratio, np.minimum(lean, 0.45), n),
        meter_bend=bent,
        fuel_log=much * _size(rng, ratio, np.minimum(rich, 0.42), n)
        - short * _size(rng, ratio, np.minimum(lean, 0.42), n),
        deposit_mm2=has("deposit") * _deposit_mm2(rng, car, variant, paired),
        stale_g_s=has("learned_stale")
        * (surplus := _size(rng, 0.10, 1.30, n)) * car.idle_airflow_g_s,
        stale_closable=rng.uniform(0.0, 1.0, n) * np.minimum(0.8, 1.0 - _LEAST_LEFT / surplus),
        pressure_log=(has("pressure_high") - has("pressure_low")) * _size(rng, 0.05, 0.35, n),
        boost_log=(has("boost_high") - has("boost_low")) * _size(rng, 0.05, 0.30, n),
    )  # fmt: skip


def _leak_share(rng: np.random.Generator, car: Cars, lean: Floats, n: int) -> Floats:
    """Leak over idle air: up to 80 % where the controller fuels it, less where trims must."""
    worst = np.where(car.airflow_metered > 0, np.minimum(1.0 - np.exp(-lean), 0.6), 0.8)
    return _size(rng, 0.08, worst, n)


def sizes_of(cause: str, fault: Faults, index: int) -> dict[str, float]:
    """Sizes by single cause in the units of the finding: mm, mm², g/s, ratio."""
    row = fault.row(index)
    every = {
        "leak": float(np.sqrt(row["leak_mm2"] / (_LEAK_DISCHARGE * np.pi / 4.0))),
        "deposit": row["deposit_mm2"],
        "learned_stale": row["stale_g_s"],
    }
    for name, key in (("meter", "meter_log"), ("fuel", "fuel_log"), ("pressure", "pressure_log"),
                      ("boost", "boost_log")):  # fmt: skip
        every[f"{name}_low"] = every[f"{name}_high"] = float(np.exp(row[key]))
    return {part: every[part] for part in cause.split("+") if part != "healthy"}
