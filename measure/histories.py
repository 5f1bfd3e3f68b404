"""Simulated histories of cars whose plates get dirty, by other laws than the forecast's own.

Growth comes in lumps (a gamma process) at a rate that drifts from stretch to stretch, along a
power or a saturating curve; readings share a bias within a car, their stated errors are wrong by
a factor, small deposits are not seen, openings are rounded. What is common with the forecast is
the scale of the trade's rule of thumb, because nothing else is known.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from bellmouth.book.visits import CarVisits, Read, Visit

__all__ = ["History", "Odd", "draw_histories", "true_levels"]

Floats = NDArray[np.float64]

_STEP_KM = 500.0
_STEPS = 1200
_QUANTUM_PCT = 100.0 / 255.0
_UNSEEN = 0.39
_STOP = 0.8  # levels read at which a shop cleans, and the history ends


@dataclass(frozen=True)
class Odd:
    """A jump that was put in: at which visit, and by how many levels."""

    visit: int
    levels: float


@dataclass(frozen=True)
class History:
    """A car, others of its kind, and the truth: where the level is reached, and when."""

    car: CarVisits
    alike: tuple[CarVisits, ...]
    reached_km: float
    reached_on: date
    odd: Odd | None


@dataclass(frozen=True)
class _Kind:
    log_km_to_level: float
    level_mm2: float
    per_level: float
    opening: bool


def draw_histories(count: int, seed: int, *, jumps: bool = False) -> list[History]:
    """``count`` histories of at least three visits, each with up to eight cars alike."""
    rng = np.random.default_rng(seed)
    found: list[History] = []
    while len(found) < count:
        kind = _Kind(
            float(rng.normal(np.log(71_000.0), 0.40)), float(rng.uniform(5.0, 15.0)),
            float(1.4 * np.exp(rng.normal(0.0, 0.35))), bool(rng.random() < 0.6),
        )  # fmt: skip
        cars = [_draw(rng, kind, place, jumps=jumps) for place in range(1 + int(rng.integers(9)))]
        first = cars[0]
        if len(first.car.visits) >= 3:
            alike = tuple(one.car for one in cars[1:] if one.car.visits)
            found.append(History(first.car, alike, first.reached_km, first.reached_on, first.odd))
    return found


def true_levels(rng: np.random.Generator, log_km_to_level: float) -> Floats:
    """Deposit at every 500 km from the clean plate on, for a car of a kind. [levels]"""
    km = np.exp(log_km_to_level + rng.normal(0.0, 0.3))
    if rng.random() < 0.08:
        km /= rng.uniform(1.5, 2.5)  # oil mist
    x = np.arange(_STEPS + 1) * _STEP_KM / km
    if rng.random() < 0.3:
        mean = 1.8 * (1.0 - np.exp(-x * np.log(1.8 / 0.8)))  # fills up
    else:
        mean = x ** rng.uniform(0.75, 1.3)
    drift = np.zeros(_STEPS)
    for step in range(1, _STEPS):
        drift[step] = 0.96 * drift[step - 1] + rng.normal(0.0, 0.08)
    steps = np.diff(mean) * np.exp(drift - 0.04)
    shape = np.maximum(steps / 0.01, 1e-9)
    return np.concatenate([[0.0], np.cumsum(rng.gamma(shape) * 0.01)])


def _draw(rng: np.random.Generator, kind: _Kind, place: int, *, jumps: bool) -> History:
    level = kind.level_mm2
    truth = true_levels(rng, kind.log_km_to_level)
    known_clean = rng.random() < 0.6
    begun = 0 if known_clean else int(rng.integers(0, 80))
    truth = truth + (abs(rng.normal(0.05, 0.05)) if known_clean else 0.0)
    odometer = float(rng.uniform(20_000.0, 180_000.0)) - begun * _STEP_KM
    per_day = 36.0 * np.exp(rng.normal(0.0, 0.6))
    bias, closed = np.exp(rng.normal(0.0, 0.25)), rng.uniform(0.4, 22.0)
    slope = kind.per_level * np.exp(rng.normal(0.0, 0.2))
    on = date(2020, 1, 1)
    wanted, step, visits = int(rng.integers(1, 7)), begun, []
    odd = None
    jump = 0.0
    for number in range(wanted):
        if number or not known_clean:
            if jumps and odd is None and number >= 2 and rng.random() < 0.4:
                odd = Odd(number, float(rng.choice([-1.0, 1.0]) * rng.uniform(0.5, 1.5)))
                jump = odd.levels
            u = max(float(truth[step]) + jump, 0.0)
            deposit = _deposit(rng, u, level, bias)
            opening = _opening(rng, closed + slope * u) if kind.opening else None
        else:
            u, deposit, opening = float(truth[step]), None, None
        visits.append(
            Visit(odometer + step * _STEP_KM, on, deposit, opening, known_clean and number == 0)
        )
        if not jumps and deposit is not None and deposit.value > _STOP * level:
            break
        ahead = max(1, round(15_000.0 * np.exp(rng.normal(0.0, 0.5)) / _STEP_KM))
        if number + 1 < wanted and step + ahead < _STEPS // 2:
            step += ahead
            on += timedelta(days=max(1.0, _days(rng, ahead * _STEP_KM, per_day)))
    visits = _distinct(visits)
    crossed = int(np.searchsorted(truth, 1.0))
    last = round((visits[-1].km - odometer) / _STEP_KM)
    ahead = max(crossed - last, 0)
    reached_on = visits[-1].on or on
    reached_on += timedelta(days=min(_days(rng, ahead * _STEP_KM, per_day), 36_000.0))
    car = CarVisits(f"car {place}", level, tuple(visits))
    return History(car, (), visits[-1].km + ahead * _STEP_KM, reached_on, odd)


def _distinct(visits: list[Visit]) -> list[Visit]:
    """One visit an odometer: where the road ran out the car came no more."""
    return [one for place, one in enumerate(visits) if not place or one.km > visits[place - 1].km]


def _days(rng: np.random.Generator, km: float, per_day: float) -> float:
    """Days for a distance, the months uneven."""
    months = max(km / per_day / 30.0, 0.1)
    return float(km / per_day * np.exp(rng.normal(0.0, 0.4 / np.sqrt(months) + 0.1)))


def _deposit(rng: np.random.Generator, u: float, level: float, bias: float) -> Read:
    """What a finding says of it: a small deposit is not told from none."""
    sd = rng.uniform(0.08, 0.30)
    read = u * bias + sd * rng.standard_t(6) / np.sqrt(1.5)
    if read < _UNSEEN:
        return Read(_UNSEEN / 2.0 * level, _UNSEEN / np.sqrt(12.0) * level)
    stated = sd * np.exp(rng.normal(0.0, 0.25))
    return Read(float(read * level), float(stated * level))


def _opening(rng: np.random.Generator, truth: float) -> Read:
    shown = truth + 0.35 * rng.standard_t(5) / np.sqrt(5.0 / 3.0)
    return Read(float(np.round(shown / _QUANTUM_PCT) * _QUANTUM_PCT), _QUANTUM_PCT / np.sqrt(12.0))
