"""Families of practice cars: one engine design each, whose cars scatter narrowly about it.

The design is one car of the wide population. Its cars differ by production and wear; how much is
common practice, no source, where nothing measured says it. Sensors, fuel of the day, weather, what
is recorded and what is wrong are as wide as in the population.
"""

import hashlib
import pickle
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np

from bellmouth.practice.cars import HEAT_PER_GRAM, Cars, draw_cars, spark_factor
from bellmouth.practice.faults import draw_faults, draw_weather, sizes_of
from bellmouth.practice.plans import draw_plan
from bellmouth.practice.population import Case, _cars, _possible, _reported, _solve_opening
from bellmouth.practice.scenario import run
from bellmouth.practice.signals import draw_reports
from bellmouth.recording.steady import stretches
from measure import OUT
from measure.cases import Sample

__all__ = ["FAULTS", "FAULTY", "FINAL", "TUNING", "Family", "cars_of", "family_samples"]

FAULTS = (
    "leak", "meter_low", "meter_high", "fuel_low", "fuel_high", "deposit", "learned_stale",
)  # fmt: skip
FAULTY = 0.45
# Spread of cars about their design: standard deviations, of the logarithm where it says so.
# Common practice, no source.
LOG_SPREAD = {
    "filling_idle": 0.02, "filling_load": 0.015, "heating_k": 0.08, "idle_per_litre": 0.06,
    "slope_mm2_deg": 0.03, "bypass_mm2": 0.12, "discharge": 0.01, "inertia_kg_m2": 0.02,
    "efficiency": 0.015, "load_kpa": 0.15,
}  # fmt: skip
SPREAD = {
    "filling_speed": 0.01, "plate_closed_deg": 0.15, "closed_reading_pct": 0.5,
    "reading_pct_deg": 0.01, "rest_above_idle_deg": 0.2, "idle_spark_deg": 1.5,
    "raise_rpm": 15.0, "table_log_gain": 0.008, "injector_log_gain": 0.012,
}  # fmt: skip
#: Drawn anew for each car, as in the wide population: no two cars of a family share them.
OWN = (
    "meter_log_gain", "meter_bend", "pressure_gain", "pressure_offset_kpa", "boost_gain",
    "intake_offset_k", "bank_log_gain", "mature", "long_s", "lambda_bias", "mixture_scatter",
    "purge_mm2", "purge_richness", "fade_deg", "airbox_kpa", "roughness",
)  # fmt: skip
_R = 0.28705


@dataclass(frozen=True)
class Family:
    """One engine design of a variant, and what its cars report."""

    name: str
    variant: str
    reports: str
    seed: int


#: For development, and for the figures that are quoted: other variants, other seeds.
TUNING = (
    Family("A airflow", "A", "airflow", 11),
    Family("B airflow", "B", "airflow", 12),
    Family("A both", "A", "airflow+pressure", 13),
    Family("B pressure", "B", "pressure", 14),
)
FINAL = (
    Family("D airflow", "D", "airflow", 901),
    Family("E airflow", "E", "airflow", 902),
    Family("C airflow", "C", "airflow", 903),
    Family("E both", "E", "airflow+pressure", 904),
    Family("D pressure", "D", "pressure", 905),
)


def cars_of(family: Family, count: int, first: int = 0) -> list[Case]:
    """Cases ``first`` to ``first + count`` of a family; the same arguments give the same cases."""
    design = _design(family)
    return [_case(family, design, number) for number in range(first, first + count)]


def _design(family: Family) -> Cars:
    rng = np.random.default_rng([family.seed, 1])
    while True:
        found = _cars(rng, 40, family.variant)
        for row in range(len(found)):
            if _reported(found, row) == family.reports:
                return found.take([row])


def _case(family: Family, design: Cars, number: int) -> Case:
    rng = np.random.default_rng([family.seed, 2, number])
    car = _member(rng, design, family.variant)
    cause = _cause(family, rng)
    fault = draw_faults(rng, car, [cause], family.variant)
    cold = float(rng.random() < 0.08)
    weather = draw_weather(rng, car, np.array([cold]))
    kind = "idle" if rng.random() < 0.3 else "held"
    plan = draw_plan(rng, kind, key_on=bool(rng.random() < 0.33), cold=bool(cold))
    # One design, one list of parameters.
    reports = draw_reports(np.random.default_rng([family.seed, 3]), car, "healthy")
    return Case(
        family.variant, number, family.seed, cause, sizes_of(cause, fault, 0), family.reports, car,
        fault, weather, plan, reports,
    )  # fmt: skip


def _cause(family: Family, rng: np.random.Generator) -> str:
    """Healthy or one of the faults, to which this design is more or less prone."""
    prone = np.random.default_rng([family.seed, 4]).dirichlet(np.full(len(FAULTS), 2.0))
    if rng.random() >= FAULTY:
        return "healthy"
    return str(rng.choice(np.array(FAULTS), p=prone))


def _member(rng: np.random.Generator, design: Cars, variant: str) -> Cars:
    while True:
        car = _solve_opening(_scattered(rng, design, variant), variant)
        if _possible(car)[0]:
            return car


def _scattered(rng: np.random.Generator, design: Cars, variant: str) -> Cars:
    other = draw_cars(rng, 1, variant)
    told = {one.name: getattr(design, one.name).copy() for one in fields(Cars)}
    told |= {name: getattr(other, name) for name in OWN}
    told["purge_mm2"] = told["purge_mm2"] * design.displacement_l / other.displacement_l
    for name, sd in LOG_SPREAD.items():
        if name in told:
            told[name] = told[name] * np.exp(rng.normal(0.0, sd, 1))
    for name, sd in SPREAD.items():
        told[name] = told[name] + rng.normal(0.0, sd, 1)
    told["rest_above_idle_deg"] = np.maximum(told["rest_above_idle_deg"], 0.0)
    told["raise_rpm"] = np.maximum(told["raise_rpm"], 0.0)
    told["closed_reading_pct"] = np.maximum(told["closed_reading_pct"], 0.4)
    off = other.idle_speed_rpm - other.specified_rpm
    told["idle_speed_rpm"] = design.specified_rpm + off
    told["floor_deg"] = design.floor_deg / design.idle_opening_deg
    car = Cars(**told)
    more = np.exp(rng.normal(0.0, LOG_SPREAD["idle_per_litre"], 1))
    return _idling(car, design.idle_airflow_g_s / design.displacement_l * more)


def _idling(car: Cars, per_litre: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> Cars:
    """The friction that makes this idle airflow necessary; the balance of `practice.cars`."""
    per_cycle = per_litre * 120.0 / car.idle_speed_rpm
    pressure = per_cycle * _R * (303.0 + car.heating_k) / car.filling_idle
    spark = spark_factor(car.best_spark_deg - car.idle_spark_deg)
    indicated = car.efficiency * spark * HEAT_PER_GRAM * per_cycle
    pumping = 100.0 - pressure + car.friction_speed_kpa * car.idle_speed_rpm / 1000.0
    return replace(
        car,
        idle_airflow_g_s=per_litre * car.displacement_l,
        idle_kpa=pressure,
        friction_kpa=indicated - pumping,
    )


def family_samples(family: Family, count: int, first: int = 0) -> list[Sample]:
    """The cases as the finding sees them, and the truth; kept on disk."""
    mark = hashlib.sha256(
        repr((family, count, first)).encode() + Path(__file__).read_bytes()
    ).hexdigest()[:12]
    path = OUT / "families" / f"{family.name.replace(' ', '-').replace('+', '-')}-{mark}.pickle"
    if path.exists():
        # Written below by this program, in its own folder.
        found: list[Sample] = pickle.loads(path.read_bytes())  # noqa: S301
        return found
    made = _samples(cars_of(family, count, first))
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.write_bytes(pickle.dumps(made, protocol=pickle.HIGHEST_PROTOCOL))
    part.replace(path)
    return made


def _samples(cases: Sequence[Case]) -> list[Sample]:
    return [
        Sample(
            number=case.number, variant=case.variant, cause=case.cause, sizes=case.sizes,
            reports=case.reported, plan=case.plan.kind, complaint=one.typical_complaint,
            car=one.car, judged=tuple(stretches(one.recording)), references=(), facts={},
        )
        for case, one in zip(cases, run(cases, keep_true=False), strict=True)
    ]  # fmt: skip
