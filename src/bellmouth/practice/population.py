"""Draw practice cases: a car, what is wrong with it, the weather and what was recorded."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bellmouth.practice.cars import Cars, draw_cars
from bellmouth.practice.columns import Floats
from bellmouth.practice.faults import CAUSES, Faults, Weather, draw_faults, draw_weather, sizes_of
from bellmouth.practice.laws import BLEEDS, PLATE_LAWS, round_plate_mm2
from bellmouth.practice.plans import PLANS, Plan, draw_plan
from bellmouth.practice.signals import draw_reports

__all__ = ["SINGLE_CAUSES", "VARIANTS", "Case", "draw", "healthy_again"]

VARIANTS = ("A", "B", "C", "D", "E")
#: The eight causes that any car can have; the rest need a sensor that not every car reports.
SINGLE_CAUSES = CAUSES[:8]
_CHOKED_G_S_PER_MM2 = 0.2362


@dataclass(frozen=True)
class Case:
    """One practice case; ``car``, ``fault`` and ``weather`` hold one row each.

    ``cause`` is ``healthy``, a cause or a pair; ``sizes`` its sizes in the finding's units;
    ``reported`` one of ``airflow+pressure``, ``airflow``, ``pressure``.
    """

    variant: str
    number: int
    seed: int
    cause: str
    sizes: dict[str, float]
    reported: str
    car: Cars
    fault: Faults
    weather: Weather
    plan: Plan
    reports: tuple[str, ...]


def _solve_opening(car: Cars, variant: str) -> Cars:
    """Give each car a bore that fits its slope, and the opening it idles at when clean."""
    two = np.full(len(car), 2.0)
    unit = round_plate_mm2(two, car.plate_closed_deg, two / 2.0, 0.16 * two / 2.0) / 2.0
    car = replace(car, bore_mm=np.sqrt(car.slope_mm2_deg / (unit * car.discharge)))
    area = PLATE_LAWS[variant](car)
    needed = car.idle_airflow_g_s / _CHOKED_G_S_PER_MM2 - BLEEDS[variant](car, 100.0 - car.idle_kpa)
    low, high = np.zeros(len(car)), np.full(len(car), 40.0)
    for _ in range(40):
        middle = 0.5 * (low + high)
        above = area(middle) > needed
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    opening = 0.5 * (low + high)
    return replace(
        car,
        idle_opening_deg=opening,
        floor_deg=car.floor_deg * opening,
        fade_deg=np.maximum(car.fade_deg, 1.2 * opening),
    )


def _possible(car: Cars) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Cars that could exist: manifold, friction, opening and bore within reason."""
    most = car.closed_reading_pct + car.reading_pct_deg * car.idle_opening_deg
    return (
        (car.idle_kpa > 19.0) & (car.idle_kpa < 52.0) & (car.efficiency < 0.46)
        & (car.friction_kpa > 20.0) & (car.idle_opening_deg > 0.3) & (car.idle_opening_deg < 13.0)
        & (car.bore_mm > 26.0) & (car.bore_mm < 90.0) & (most < 32.0)
    )  # fmt: skip


def _cars(rng: np.random.Generator, n: int, variant: str) -> Cars:
    parts: list[Cars] = []
    have = 0
    while have < n:
        drawn = _solve_opening(draw_cars(rng, 4 * n + 50, variant), variant)
        good = drawn.take(_possible(drawn))
        parts.append(good)
        have += len(good)
    return Cars.join(parts).take(np.arange(n))


def _fits(cause: str, car: Cars) -> Floats:
    """1 where a car has the sensors that a cause is about."""
    fits = np.ones(len(car))
    if "pressure_" in cause:
        fits = fits * car.airflow_metered * car.reports_pressure
    if "boost_" in cause:
        fits = fits * car.turbo
    return fits


def _assign(rng: np.random.Generator, n: int, causes: Sequence[str], variant: str) -> tuple[
    Cars, list[str]
]:  # fmt: skip
    """Equal shares of causes, each given to cars that can have it."""
    wanted = [causes[i % len(causes)] for i in range(n)]
    cars = _cars(rng, n, variant)
    for cause in sorted(set(wanted)):
        rows = [i for i, c in enumerate(wanted) if c == cause and not _fits(c, cars.take([i]))[0]]
        while rows:
            spare = _cars(rng, 8 * len(rows) + 20, variant)
            spare = spare.take(_fits(cause, spare) > 0)
            take = rows[: len(spare)]
            index = np.arange(n)
            index[take] = n + np.arange(len(take))
            cars = Cars.join([cars, spare]).take(index)
            rows = rows[len(take) :]
    return cars, wanted


def _reported(car: Cars, i: int) -> str:
    if car.airflow_metered[i] < 0.5:
        return "pressure"
    return "airflow+pressure" if car.reports_pressure[i] > 0.5 else "airflow"


def _plan_kinds(
    rng: np.random.Generator, n: int, plans: Sequence[str] | None
) -> list[str]:  # fmt: skip
    """Three recordings in ten are idle alone, the rest idle and held speeds, unless told."""
    if plans is not None:
        return [str(p) for p in rng.choice(np.array(plans), n)]
    return ["idle" if x < 0.3 else "held" for x in rng.random(n)]


def draw(
    n: int, variant: str, seed: int, *, causes: Sequence[str] | None = None,
    plans: Sequence[str] | None = None,
) -> list[Case]:  # fmt: skip
    """Draw ``n`` cases of a variant.

    Parameters
    ----------
    n
        How many.
    variant
        ``A`` to ``E``: structurally different engines and controllers.
    seed
        The same arguments give the same cases.
    causes
        Given in equal shares; pairs are joined with ``+``. The default is the eight causes that
        any car can have.
    plans
        Kinds of recording to choose from evenly; by default ``idle`` three in ten, else ``held``.

    Raises
    ------
    ValueError
        If ``variant`` or a plan is not one of those known.
    """
    if variant not in VARIANTS:
        raise ValueError(f'practice variant "{variant}": use one of {", ".join(VARIANTS)}.')
    for plan in plans or ():
        if plan not in PLANS:
            raise ValueError(f'recording plan "{plan}": use one of {", ".join(PLANS)}.')
    rng = np.random.default_rng([seed, VARIANTS.index(variant)])
    car, wanted = _assign(rng, n, causes or SINGLE_CAUSES, variant)
    fault = draw_faults(rng, car, wanted, variant)
    kinds = _plan_kinds(rng, n, plans)
    cold = (rng.random(n) < 0.08).astype(np.float64)
    key_on = rng.random(n) < 0.33
    weather = draw_weather(rng, car, cold)
    return [
        Case(
            variant, i, seed, wanted[i], sizes_of(wanted[i], fault, i), _reported(car, i),
            car.take([i]), fault.take([i]), weather.take([i]),
            draw_plan(rng, kinds[i], key_on=bool(key_on[i]), cold=bool(cold[i])),
            draw_reports(rng, car.take([i]), wanted[i]),
        )
        for i in range(n)
    ]  # fmt: skip


def healthy_again(case: Case, occasion: int = 0, *, plan: str | None = None) -> Case:
    """The same car when nothing was wrong with it, on another day.

    Other weather, another tank of a like blend, another recording; everything else is the car's.
    ``occasion`` tells several such days apart.
    """
    mark = [case.seed, VARIANTS.index(case.variant), case.number, 1000 + occasion]
    rng = np.random.default_rng(mark)
    weather = draw_weather(rng, case.car, np.zeros(1))
    drift = np.clip(case.weather.ethanol_pct + rng.normal(0.0, 2.0, 1), 0.0, 85.0)
    most = np.where(case.car.flex > 0, 85.0, 10.0)
    weather = replace(weather, ethanol_pct=np.minimum(drift, most))
    kind = plan or ("idle" if rng.random() < 0.1 else "held")
    fault = draw_faults(rng, case.car, ["healthy"], case.variant)
    return replace(
        case, cause="healthy", sizes={}, fault=fault, weather=weather, number=case.number,
        plan=draw_plan(rng, kind, key_on=bool(rng.random() < 0.33), cold=False),
    )  # fmt: skip
