"""What is done with the car while it is recorded: idle alone, held speeds, a drive."""

from dataclasses import dataclass

import numpy as np

from bellmouth.practice.columns import Floats

__all__ = ["PLANS", "PLAN_STEP_S", "Plan", "draw_plan"]

PLANS = ("idle", "held", "drive")
PLAN_STEP_S = 0.5


@dataclass(frozen=True)
class Plan:
    """A recording's course in steps of half a second, arrays of shape (steps,).

    Attributes
    ----------
    kind
        ``idle``, ``held`` or ``drive``.
    key
        0 with the engine off and the key on, 1 running.
    held_rpm
        Speed that the driver holds by the pedal, 0 for pedal up. [rpm]
    road_kmh
        Road speed that the driver wants, 0 standing. [km/h]
    load
        Accessory load, 0 or 1.
    purge
        Purge valve duty, 0 to 1.
    """

    kind: str
    key: Floats
    held_rpm: Floats
    road_kmh: Floats
    load: Floats
    purge: Floats

    @property
    def seconds(self) -> float:
        """Length of the recording. [s]"""
        return len(self.key) * PLAN_STEP_S


def _course(rng: np.random.Generator, kind: str) -> tuple[Floats, Floats]:
    """Held speed and road speed over time, without the key-on stretch."""
    if kind == "idle":
        held = np.zeros(int(rng.uniform(60.0, 180.0) / PLAN_STEP_S))
        return held, np.zeros_like(held)
    if kind == "held":
        held = _held(rng)
        return held, np.zeros_like(held)
    road = _road(rng, rng.uniform(560.0, 620.0))
    return np.zeros_like(road), road


def _held(rng: np.random.Generator) -> Floats:
    """About three minutes of idle, 1500 and 2500, in varied order, idle first and last mostly."""
    speeds = [[0, 1500, 2500, 0], [0, 2500, 0], [0, 2500, 1500, 0], [0, 1500, 0, 2500, 0],
              [2500, 0, 1500, 0], [0, 1500, 2500], [0, 2000, 0, 3000, 0]]  # fmt: skip
    order = speeds[int(rng.integers(len(speeds)))]
    weights = np.array([rng.uniform(1.2, 2.2) if s == 0 else rng.uniform(0.6, 1.2) for s in order])
    seconds = rng.uniform(150.0, 200.0) * weights / weights.sum()
    parts = [
        np.full(int(t / PLAN_STEP_S), 0.0 if s == 0 else s + rng.normal(0.0, 60.0))
        for s, t in zip(order, seconds, strict=True)
    ]
    return np.concatenate(parts)


def _road(rng: np.random.Generator, seconds: float) -> Floats:
    """Stops, accelerations, cruises and coasts in town and outside, as wanted road speed."""
    parts = [np.zeros(int(rng.uniform(15, 45) / PLAN_STEP_S))]
    length = len(parts[0])
    while length * PLAN_STEP_S < seconds:
        top = float(rng.choice([32.0, 50.0, 70.0, 95.0], p=[0.25, 0.4, 0.2, 0.15]))
        top *= rng.uniform(0.9, 1.1)
        up = np.linspace(0.0, top, int(top / rng.uniform(3.5, 8.0) / PLAN_STEP_S) + 2)
        cruise = np.full(int(rng.uniform(8, 50) / PLAN_STEP_S), top)
        cruise = cruise + 3.0 * np.sin(np.arange(len(cruise)) * 0.05 + rng.uniform(0, 6))
        down = np.linspace(top, 0.0, int(top / rng.uniform(3.0, 7.0) / PLAN_STEP_S) + 2)
        stop = np.zeros(int(rng.uniform(5, 35) / PLAN_STEP_S))
        parts += [up, cruise, down, stop]
        length = sum(len(p) for p in parts)
    return np.concatenate(parts)[: int(seconds / PLAN_STEP_S)]


def _loads(rng: np.random.Generator, n: int) -> Floats:
    """A load throughout one recording in five, in part in two in five."""
    draw = rng.random()
    if draw < 0.2:
        return np.ones(n)
    load = np.zeros(n)
    if draw < 0.6:
        for _ in range(int(rng.integers(1, 4))):
            start = int(rng.uniform(0.1, 0.8) * n)
            load[start : start + int(rng.uniform(12.0, 45.0) / PLAN_STEP_S)] = 1.0
    return load


def _purging(rng: np.random.Generator, n: int) -> Floats:
    """Purge in two recordings in five, in ramps and holds."""
    purge = np.zeros(n)
    if rng.random() >= 0.4:
        return purge
    for _ in range(int(rng.integers(1, 4))):
        start, length = int(rng.uniform(0.0, 0.85) * n), int(rng.uniform(20.0, 90.0) / PLAN_STEP_S)
        duty = rng.uniform(0.08, 0.6)
        ramp = np.minimum(np.arange(length) / 16.0, 1.0) * duty
        purge[start : start + length] = ramp[: max(0, n - start)]
    return purge


def draw_plan(rng: np.random.Generator, kind: str, *, key_on: bool, cold: bool) -> Plan:
    """Draw a recording of this kind, with the key on and the engine off first where asked."""
    held, road = _course(rng, kind)
    off = int(rng.uniform(4.0, 9.0) / PLAN_STEP_S) if key_on or cold else 0
    # After a start the engine idles a while before anybody holds a speed.
    wait = int(rng.uniform(12.0, 25.0) / PLAN_STEP_S) if off else 0
    pad = np.zeros(off + wait)
    held, road = np.concatenate([pad, held]), np.concatenate([pad, road])
    key = np.ones(len(held))
    key[:off] = 0.0
    load = _loads(rng, len(held)) * key
    purge = _purging(rng, len(held)) * key
    return Plan(kind, key, held, road, load, purge)
