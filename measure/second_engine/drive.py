"""A recording's time: the car warms its trims and its idle, then the script is played."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from measure.second_engine import flow
from measure.second_engine.cars import Cars
from measure.second_engine.controller import Air, Idle, Trims
from measure.second_engine.days import Days, Script
from measure.second_engine.plant import Plant, effective_area

__all__ = ["EVERY", "STEP", "Traces", "drive"]

Floats = NDArray[np.float64]

STEP: Final = 0.01
#: Steps from one kept sample to the next.
EVERY: Final = 4
_BEFORE: Final = 75.0
_LEARNT: Final = -15.0
_WANDER_S: Final = 4.0


@dataclass(frozen=True)
class Traces:
    """What happened, (times, cars) each, from the recording's first moment on, SI units."""

    seconds: Floats
    values: dict[str, NDArray[np.float32]]


def drive(cars: Cars, days: Days, scripts: Sequence[Script], rng: np.random.Generator) -> Traces:
    """Run all cars at once and keep a sample every `EVERY` steps of `STEP` seconds."""
    run = _Run(cars, days, scripts, rng)
    length = max(script.length for script in scripts)
    first, last = -round(_BEFORE / STEP), round(length / STEP)
    kept: dict[str, list[NDArray[np.float32]]] = {}
    for k in range(first, last):
        run.step(k * STEP)
        if k >= 0 and k % EVERY == 0:
            for name, value in run.seen().items():
                kept.setdefault(name, []).append(value.astype(np.float32))
    seconds = np.arange(0, last, EVERY, dtype=np.float64) * STEP
    return Traces(seconds, {name: np.array(rows) for name, rows in kept.items()})


class _Run:
    """All parts, and the driver's foot."""

    def __init__(
        self, cars: Cars, days: Days, scripts: Sequence[Script], rng: np.random.Generator
    ) -> None:
        self.cars, self.days, self.scripts, self.rng = cars, days, scripts, rng
        self.plant = Plant(cars, days, rng)
        self.idle, self.air, self.trims = Idle(cars), Air(cars, days), Trims(cars, days)
        zeros = np.zeros_like(cars.displacement)
        self.opening = self.idle.learned * 1.0
        self.pedal, self.foot, self.wander = zeros * 1.0, zeros * 1.0, zeros * 1.0
        self.spark, self.measured = cars.base_spark * 1.0, cars.idle_speed * 1.0
        self.load, self.purge, self.held = zeros * 1.0, zeros * 1.0, zeros * 1.0
        self.believed = cars.idle_flow * 1.0
        self.learnt = False

    def step(self, t: float) -> None:
        if round(t / STEP) % 10 == 0:
            self._script(t)
        if t >= _LEARNT and not self.learnt:
            self._learnt()
        cars, plant = self.cars, self.plant
        self.measured += (plant.speed - self.measured) * (STEP / 0.05)
        on = self.load
        target = cars.idle_speed + on * self.days.load_raise
        torque = cars.idle_flow * 1.0e6 / cars.idle_speed
        ahead = on * (0.7 * self.days.load / torque + 0.8 * self.days.load_raise / cars.idle_speed)
        self._foot()
        wanted, self.spark = self.idle.act(
            STEP, target, self.measured, ahead, self.pedal, not self.learnt
        )
        self.opening += (wanted - self.opening) * (STEP / 0.05)
        purge = self.purge * self.days.purge_air * (plant.pressure < 0.85 * self.days.barometer)
        self.believed = self.air.read(STEP, plant)
        lam = self.trims.fuel(self.believed, plant, purge)
        plant.step(STEP, self.opening, self.spark, lam, on * self.days.load, purge)
        driven = (self.pedal > 0.0) | (plant.speed > 1.35 * target)
        if round(t / STEP) % 2 == 0:
            self.trims.follow(2.0 * STEP, plant, driven, 1.0 if self.learnt else 25.0)

    def _script(self, t: float) -> None:
        """What is held, loaded and purged now; before the recording a round to learn on."""
        if t < _LEARNT:
            self.held[:] = 2000.0 * math.pi / 30.0 if -50.0 < t < -36.0 else 0.0
            return
        for i, one in enumerate(self.scripts):
            rpm = next((rpm for end, rpm in one.held if t < end), one.held[-1][1])
            self.held[i] = rpm * math.pi / 30.0
            self.load[i] = one.load[0] <= t < one.load[1]
            wanted = any(a <= t < b for a, b in one.purge)
            self.purge[i] += (wanted - self.purge[i]) * 0.1

    def _learnt(self) -> None:
        """The idle is learned; a memory from before a service is too open by its surplus, once
        the controller has taken away what little it can at once."""
        self.learnt = True
        self.idle.learn()
        days, cars = self.days, self.cars
        stale = days.stale > 0
        choked = flow.orifice(1.0, days.barometer, self.plant.pressure, days.intake)
        ratio = self.plant.pressure / days.barometer
        low = self.idle.learned * 1.0
        there = effective_area(cars, days, low, ratio)
        wanted = there + days.stale / choked
        high = low + math.radians(40.0)
        for _ in range(40):
            middle = 0.5 * (low + high)
            below = effective_area(cars, days, middle, ratio) < wanted
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        self.idle.learned = np.where(stale, low + self.idle.most_taken, self.idle.learned)

    def _foot(self) -> None:
        """A person holding a speed: slow, and never quite still."""
        keep = math.exp(-STEP / _WANDER_S)
        fresh = math.sqrt(1.0 - keep**2) * self.rng.standard_normal(self.pedal.shape)
        self.wander = keep * self.wander + fresh
        holds = self.held > 0
        aim = np.maximum(self.held, 1.0) * (1.0 + 0.008 * self.wander)
        error = np.clip((aim - self.measured) / aim, -0.3, 0.3)
        scale = self.idle.unit * np.maximum(self.held / self.cars.idle_speed, 1.0)
        pushed = np.maximum(self.foot + STEP * 0.4 * scale * error, 1e-4)
        self.foot = np.where(holds, pushed, 0.0)
        wanted = np.where(holds, np.maximum(self.foot + 0.3 * scale * error, 1e-4), 0.0)
        eased = self.pedal + (wanted - self.pedal) * (STEP / 0.15)
        self.pedal = np.where(~holds & (eased < 2e-4), 0.0, eased)

    def seen(self) -> dict[str, Floats]:
        """Everything a sensor or a judge of the simulator may want, (cars,) each."""
        plant, trims = self.plant, self.trims
        return {
            "speed": plant.speed, "pressure": plant.pressure, "plate": plant.through_plate,
            "leak": plant.leak, "cylinder": plant.cylinder, "opening": self.opening,
            "meter": self.air.meter, "sensed_pressure": self.air.pressure,
            "believed": self.believed, "short": trims.shown, "long": trims.learned,
            "lambda": trims.lam, "sensed_lambda": trims.sensed, "spark": self.spark,
            "pedal": self.pedal, "purge": self.purge, "load": self.load,
            "filling": plant.filling(plant.pressure),
        }  # fmt: skip
