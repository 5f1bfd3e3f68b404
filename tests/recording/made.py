"""Recordings made of levels that are known: steps, noise with memory, polling and rounding."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bellmouth.recording.series import Floats, Recording, Series

__all__ = ["LEVELS", "Level", "make"]

# Smallest steps of the standard.
QUANTUM = {
    "engine_speed": 0.25,
    "intake_manifold_pressure": 1.0,
    "mass_air_flow": 0.01,
    "throttle_position": 100 / 255,
    "short_term_fuel_trim_bank_1": 100 / 128,
    "long_term_fuel_trim_bank_1": 100 / 128,
    "engine_coolant_temperature": 1.0,
    "commanded_evaporative_purge": 100 / 255,
}
UNIT = {
    "engine_speed": "rpm",
    "intake_manifold_pressure": "kPa",
    "mass_air_flow": "g/s",
    "engine_coolant_temperature": "degC",
}
# Relative noise, its share with memory, and the memory. [s]
NOISE = {
    "engine_speed": (0.008, 0.7, 2.0),
    "intake_manifold_pressure": (0.015, 0.6, 2.0),
    "mass_air_flow": (0.015, 0.6, 2.0),
    "throttle_position": (0.008, 0.7, 3.0),
}
TRIM_SD = 1.5
TRIM_LAG_S = 2.5


@dataclass(frozen=True)
class Level:
    """An operating point and how long it is held. Trim is the short term's settled value. [%]"""

    seconds: float
    engine_speed: float
    intake_manifold_pressure: float
    mass_air_flow: float
    throttle_position: float
    short_term_fuel_trim_bank_1: float = 3.0
    long_term_fuel_trim_bank_1: float = 4.0
    engine_coolant_temperature: float = 88.0
    commanded_evaporative_purge: float = 0.0


# Key on, idle, two held speeds, idle again.
LEVELS = (
    Level(8, 0, 99, 0, 17.5, 0, 4),
    Level(45, 700, 34.3, 2.61, 14.9, 8, 4),
    Level(30, 1500, 29.4, 5.02, 18.1, 3, 4),
    Level(30, 2500, 30.2, 8.83, 22.3, 1, 4),
    Level(50, 705, 34.6, 2.63, 15.0, 8, 4),
)


def make(
    levels: Sequence[Level],
    rng: np.random.Generator,
    *,
    samples_per_s: float = 12.0,
    lost: float = 0.05,
    noise: float = 1.0,
    names: Sequence[str] = tuple(QUANTUM),
) -> Recording:
    """Poll a car that holds each level in turn; 1 s from one to the next, trims late."""
    step = 0.05
    total = sum(level.seconds for level in levels)
    time = np.arange(0, total, step)
    true = {name: _course(name, levels, time) for name in names}
    polls = np.cumsum(rng.uniform(0.7, 1.3, int(total * samples_per_s)) / samples_per_s)
    polls = polls[polls < total - step]
    which = np.arange(polls.size) % len(names)
    kept = rng.random(polls.size) >= lost
    series = {}
    for number, name in enumerate(names):
        when = polls[(which == number) & kept]
        value = true[name] + noise * _noise(name, true[name], time, rng)
        value = value[np.searchsorted(time, when)]
        value = np.round(value / QUANTUM[name]) * QUANTUM[name]
        series[name] = Series(name, UNIT.get(name, "%"), when, value)
    return Recording(series, "made", samples_per_s=samples_per_s)


def _course(name: str, levels: Sequence[Level], time: Floats) -> Floats:
    edges = np.cumsum([0.0] + [level.seconds for level in levels])
    number = np.clip(np.searchsorted(edges, time, side="right") - 1, 0, len(levels) - 1)
    held = np.array([float(getattr(level, name)) for level in levels])
    target = held[number]
    lag = TRIM_LAG_S if name.startswith("short") else 0.35
    course = np.empty_like(target)
    value = target[0]
    share = 1 - np.exp(-(time[1] - time[0]) / lag)
    for at, goal in enumerate(target):
        value += (goal - value) * share
        course[at] = value
    if name in ("engine_speed", "commanded_evaporative_purge"):
        return np.where(target == 0, 0.0, course)
    return course


def _noise(name: str, true: Floats, time: Floats, rng: np.random.Generator) -> Floats:
    white = rng.normal(size=time.size)
    if name.startswith("short"):
        return TRIM_SD * _remembering(rng.normal(size=time.size), time, 0.8)
    if name not in NOISE:
        return np.zeros(time.size)
    size, share, memory_s = NOISE[name]
    slow = _remembering(rng.normal(size=time.size), time, memory_s)
    both: Floats = size * true * (np.sqrt(share) * slow + np.sqrt(1 - share) * white)
    return both


def _remembering(white: Floats, time: Floats, memory_s: float) -> Floats:
    """First-order noise of unit variance."""
    keep = float(np.exp(-(time[1] - time[0]) / memory_s))
    result: Floats = np.empty_like(white)
    value = white[0]
    for at, kick in enumerate(white):
        value = keep * value + np.sqrt(1 - keep * keep) * kick
        result[at] = value
    return result


def levels_by_time(levels: Sequence[Level]) -> Mapping[float, Level]:
    """Each level by the time at which it ends."""
    ends = np.cumsum([level.seconds for level in levels])
    return dict(zip(ends.tolist(), levels, strict=True))
