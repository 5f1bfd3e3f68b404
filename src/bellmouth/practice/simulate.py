"""Run many practice cars of one variant through their plans, and keep what happened."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.practice.cars import Cars
from bellmouth.practice.cells import fuel_control
from bellmouth.practice.columns import Floats, between
from bellmouth.practice.controller import FuelInput, Metering
from bellmouth.practice.driver import Driver, DriverOutput
from bellmouth.practice.engine import Crank, Engine
from bellmouth.practice.faults import Faults, Weather
from bellmouth.practice.idle import IDLE_CONTROLS, IdleInput
from bellmouth.practice.plans import PLAN_STEP_S, Plan

__all__ = ["CHANNELS", "STEP_S", "Traces", "simulate"]

STEP_S = 0.025
KEEP_EVERY = 3
Seed = tuple[int, ...]
_NOISE_STEPS = 500
_SETTLE = ((0.0, 12.0), (2400.0, 5.0), (1500.0, 5.0), (0.0, 13.0))

#: What is kept: signals as the controller has them, then true states and flows.
CHANNELS = (
    "speed_rpm", "meter_g_s", "sensed_kpa", "opening_deg", "commanded_deg", "spark_deg",
    "short_1", "short_2", "long_1", "long_2", "sensed_lambda", "metered_g_s", "injected_g_s",
    "commanded_lambda", "closed_loop", "coolant_c", "intake_c", "boost_kpa", "purge", "road_kmh",
    "load", "target_rpm", "since_start_s", "pedal_deg",
    "true_kpa", "throttle_g_s", "leak_g_s", "purge_g_s", "cylinder_g_s", "true_lambda", "charge_k",
)  # fmt: skip


@dataclass(frozen=True)
class Traces:
    """Kept channels over time.

    ``time_s`` has shape (times,); each channel (times, cars), in single precision. ``seconds``
    is each car's own length; what comes after it is padding.
    """

    time_s: Floats
    channel: dict[str, NDArray[np.float32]]
    seconds: Floats
    remembered_deg: Floats


def _stack(plans: Sequence[Plan], name: str, last: int) -> Floats:
    """Plans side by side, each held at its last value after its end. Shape (steps, cars)."""
    rows = [np.asarray(getattr(p, name)) for p in plans]
    return np.stack([np.pad(r, (0, last - len(r)), mode="edge") for r in rows], axis=1)


class _Run:
    """The loop. One object a call of :func:`simulate`."""

    def __init__(
        self, car: Cars, fault: Faults, weather: Weather, variant: str, seeds: Sequence[Seed]
    ) -> None:
        self.car, self.fault, self.weather = car, fault, weather
        self.n = len(car)
        self._rngs = [np.random.default_rng([*seed, 77]) for seed in seeds]
        self._noise = np.empty((0, 3, self.n))
        self._noise_at = 0
        self.engine = Engine(car, fault, weather, variant)
        self.metering = Metering(car, fault, self.engine)
        self.fuel = fuel_control(car, fault, weather, variant)
        self.idle = IDLE_CONTROLS[variant](car, car.idle_airflow_g_s / 0.2362)
        habits = np.stack([r.random(7) for r in self._rngs])
        self.driver = Driver(car, habits[:, :6])
        self.metered = car.idle_airflow_g_s.copy()
        self.mixture = np.ones(self.n)
        self.since_start_s = np.full(self.n, 600.0)
        self.cut = np.zeros(self.n, dtype=bool)
        self.learning = True
        self._closed_s = np.full(self.n, 5.0)
        self._dashpot = np.zeros(self.n)
        self._needs_s = 8.0 + 12.0 * habits[:, 6]
        self._released_s = np.full(self.n, 9.0)

    def step(self, held: Floats, road: Floats, load: Floats, purge: Floats, key: Floats) -> None:
        """One step of ``STEP_S``; arguments of shape (cars,)."""
        dt, engine, car = STEP_S, self.engine, self.car
        noise = self._draw_noise()
        speed = engine.speed_rpm
        running = (key > 0.5) & (speed > 200.0)
        self.since_start_s = np.where(running, self.since_start_s + dt, 0.0)
        foot = self.driver.step(dt, held, road, speed, noise[0])
        cold = between((75.0 - engine.coolant_c) / 80.0, 0.0, 1.0)
        target = car.idle_speed_rpm + car.raise_rpm * load + 420.0 * cold
        flare = between(1.0 - self.since_start_s / 6.0, 0.0, 1.0)
        target = target + 350.0 * flare
        pedal_up = foot.pedal_deg <= 0.0
        self._released_s = np.where(pedal_up, self._released_s + dt, 0.0)
        # On an overrun idle control waits, but not for ever: an idle may really be this high.
        arrived = (speed < target + 300.0) | (self._released_s > 3.0)
        active = pedal_up & running & arrived & (self.driver.road_kmh < 12.0)
        seen = IdleInput(speed, target, load, active, pedal_up, cold)
        opening, spark = self.idle.step(dt, seen)
        self._command(opening, foot, key)
        self._ignite(spark, load, foot, key, running)
        self._fuel(pedal_up, running, noise[2])
        engine.step(dt, self.commanded_deg, purge * running, self.crank, noise[1])
        self.load, self.purge, self.target, self.foot = load, purge * running, target, foot

    def _draw_noise(self) -> Floats:
        """Unit normal noise, shape (3, cars); each car has its own stream."""
        if self._noise_at == len(self._noise):
            fresh = [r.standard_normal((_NOISE_STEPS, 3)) for r in self._rngs]
            self._noise, self._noise_at = np.stack(fresh, axis=2), 0
        self._noise_at += 1
        return np.asarray(self._noise[self._noise_at - 1])

    def _command(self, opening: Floats, foot: DriverOutput, key: Floats) -> None:
        # A closing plate is let down slowly, so that the engine does not dip below idle.
        self._dashpot = np.maximum(foot.pedal_deg, self._dashpot * (1.0 - STEP_S / 0.6))
        rest = self.car.idle_opening_deg + self.car.rest_above_idle_deg
        asked = opening + self._dashpot
        self.commanded_deg = np.where(key > 0.5, np.minimum(asked, 82.0), rest)

    def _ignite(
        self, spark: Floats, load: Floats, foot: DriverOutput, key: Floats,
        running: NDArray[np.bool_],
    ) -> None:  # fmt: skip
        car = self.car
        driving = car.best_spark_deg - 2.0 - 0.10 * np.maximum(self.engine.pressure_kpa - 45.0, 0)
        self.spark_deg = np.where(np.isnan(spark), driving, spark)
        lean = np.maximum(self.mixture_lambda - 1.15, 0.0) if self._started else 0.0
        starter = np.where((key > 0.5) & ~running, 35.0 + 25.0 * car.displacement_l, 0.0)
        burn = np.where(self.cut, 0.0, self.mixture)
        self.crank = Crank(
            mixture=burn,
            spark_deg=self.spark_deg,
            load_kpa=load * car.load_kpa,
            torque_nm=starter,
            pull_rpm=foot.pull_rpm,
            pull_per_s=foot.pull_per_s,
            turning=key > 0.5,
            roughness=car.roughness * (1.0 + 15.0 * lean),
        )

    _started = False
    mixture_lambda: Floats | float = 1.0

    def _fuel(self, pedal_up: NDArray[np.bool_], running: NDArray[np.bool_], noise: Floats) -> None:
        engine, car, dt = self.engine, self.car, STEP_S
        speed = engine.speed_rpm
        flows = engine.flows
        self.metered = self.metering.step(dt, flows)
        begins = pedal_up & (speed > car.fuel_cut_rpm) & (self.since_start_s > 8.0)
        keeps = self.cut & pedal_up & (speed > car.fuel_cut_rpm - 450.0)
        self.cut = begins | keeps
        rich = np.where(self._dashpot > 40.0, 0.87, 1.0)
        cold = between((30.0 - engine.coolant_c) / 60.0, 0.0, 0.2)
        commanded = rich * (1.0 - cold)
        warm = (engine.coolant_c > 35.0) & (self.since_start_s > self._needs_s)
        ready = warm & running & ~self.cut & (rich > 0.99)
        self._closed_s = np.where(ready, self._closed_s + dt, 0.0)
        closed = self._closed_s > 0.6
        learning = closed & (engine.coolant_c > 65.0) & (self._closed_s > 2.0)
        told = FuelInput(closed, self.cut, commanded, pedal_up, learning)
        burnt = self.fuel.step(dt, self.metered, flows, speed, told, noise)
        self.mixture_lambda, self._started = burnt, True
        self.mixture = np.where(running | (speed > 150.0), _torque_of_mixture(burnt), 0.0)
        self.closed, self.commanded_lambda = closed, commanded

    def settle(self) -> None:
        """Let learning settle before the recording: what the car knew when it came in."""
        zero = np.zeros(self.n)
        one = np.ones(self.n)
        warm = self.engine.coolant_c.copy()
        self.engine.coolant_c = np.maximum(warm, 88.0)
        idle_deg = self.car.idle_opening_deg
        wanted = self.engine.area_mm2(idle_deg, clean=True)
        self.idle.grow_used_to(self._opening_for(wanted, idle_deg, 25.0) - idle_deg)
        for held, seconds in _SETTLE:
            for _ in range(int(seconds / STEP_S)):
                self.step(np.full(self.n, held), zero, zero, zero, one)
        self.engine.coolant_c = warm
        self.idle.learn_s = 90.0
        self.fuel.long_s = self.car.long_s
        self.fuel.forget(self.car.mature)
        self._go_stale()

    def _go_stale(self) -> None:
        """Learning from before a service: remembered opening too large by the fault's air."""
        stale = self.fault.stale_g_s
        if not (stale > 0).any():
            return
        engine = self.engine
        now = self.idle.remembered_deg()
        surplus = stale / (0.2362 * engine.ambient_kpa / 100.0)
        wanted = engine.area_mm2(now) + surplus
        extra = np.where(stale > 0, self._opening_for(wanted, now, 60.0) - now, 0.0)
        self.idle.remember(extra, self.fault.stale_closable)
        self.idle.learn_s = np.where(stale > 0, 4000.0, 90.0)
        for _ in range(int(6.0 / STEP_S)):
            zero = np.zeros(self.n)
            self.step(zero, zero, zero, zero, np.ones(self.n))

    def _opening_for(self, area_mm2: Floats, least_deg: Floats, more_deg: float) -> Floats:
        """Smallest opening from ``least_deg`` on that passes through this area. [deg]"""
        low, high = least_deg.copy(), least_deg + more_deg
        for _ in range(40):
            middle = 0.5 * (low + high)
            above = self.engine.area_mm2(middle) > area_mm2
            low, high = np.where(above, low, middle), np.where(above, middle, high)
        return np.where(self.engine.area_mm2(least_deg) < area_mm2, 0.5 * (low + high), least_deg)

    def begin(self, key: Floats) -> None:
        """Switch those cars off whose recording begins with the engine off."""
        off = key < 0.5
        engine = self.engine
        engine.speed_rpm = np.where(off, 0.0, engine.speed_rpm)
        engine.pressure_kpa = np.where(off, engine.ambient_kpa, engine.pressure_kpa)
        engine.opening_deg = np.where(
            off, self.car.idle_opening_deg + self.car.rest_above_idle_deg, engine.opening_deg
        )
        self.since_start_s = np.where(off, 0.0, self.since_start_s)

    def look(self) -> dict[str, Floats]:
        """The channels of this instant."""
        engine, fuel, flows = self.engine, self.fuel, self.engine.flows
        sensed, long = fuel.sensed, fuel.long(self.metered, self.foot.pedal_deg <= 0.0)
        return {
            "speed_rpm": engine.speed_rpm, "meter_g_s": self.metering.reading_g_s,
            "sensed_kpa": self.metering.sensed_kpa, "opening_deg": engine.opening_deg,
            "commanded_deg": self.commanded_deg, "spark_deg": self.spark_deg,
            "short_1": fuel.short[0], "short_2": fuel.short[1], "long_1": long[0],
            "long_2": long[1], "sensed_lambda": sensed[0], "metered_g_s": self.metered,
            "injected_g_s": fuel.injected.sum(axis=0), "commanded_lambda": self.commanded_lambda,
            "closed_loop": self.closed.astype(np.float64), "coolant_c": engine.coolant_c,
            "intake_c": self.metering.sensed_intake_k - 273.15, "boost_kpa": engine.boost_kpa,
            "purge": self.purge, "road_kmh": self.driver.road_kmh, "load": self.load,
            "target_rpm": self.target, "since_start_s": self.since_start_s,
            "pedal_deg": self.foot.pedal_deg, "true_kpa": engine.pressure_kpa,
            "throttle_g_s": flows.throttle, "leak_g_s": flows.leak, "purge_g_s": flows.purge,
            "cylinder_g_s": flows.cylinder, "true_lambda": fuel.true_lambda.mean(axis=0),
            "charge_k": engine.charge_k,
        }  # fmt: skip


def _torque_of_mixture(burnt_lambda: Floats) -> Floats:
    """Torque against stoichiometric: fuel counts when lean, air when rich; misfire beyond. [-]"""
    lean = (1.0 + 0.12 * between(burnt_lambda - 1.0, 0.0, 0.25)) / np.maximum(burnt_lambda, 1.0)
    misfire = 1.0 - between(2.0 * (burnt_lambda - 1.3), 0.0, 0.9)
    rich = 1.0 - 0.6 * between(0.86 - burnt_lambda, 0.0, 0.5)
    return np.asarray(lean * misfire * rich)


def simulate(
    car: Cars,
    fault: Faults,
    weather: Weather,
    plans: Sequence[Plan],
    variant: str,
    seeds: Sequence[Seed],
) -> Traces:
    """Run cars of one variant through their plans.

    Parameters
    ----------
    car, fault, weather
        One row a car.
    plans
        One plan a car; shorter ones are padded to the longest.
    variant
        ``A`` to ``E``.
    seeds
        Of the noise, one a car: a car's traces do not depend on its company.
    """
    run = _Run(car, fault, weather, variant, seeds)
    steps = max(len(p.key) for p in plans)
    courses = [_stack(plans, k, steps) for k in ("held_rpm", "road_kmh", "load", "purge", "key")]
    run.settle()
    run.begin(courses[-1][0])
    each = round(PLAN_STEP_S / STEP_S)
    total = steps * each
    kept = (total + KEEP_EVERY - 1) // KEEP_EVERY
    channel = {c: np.empty((kept, len(car)), dtype=np.float32) for c in CHANNELS}
    for i in range(total):
        now = [c[i // each] for c in courses]
        run.step(*now)
        if i % KEEP_EVERY == 0:
            for name, value in run.look().items():
                channel[name][i // KEEP_EVERY] = value
    time_s = np.arange(kept, dtype=np.float64) * (STEP_S * KEEP_EVERY)
    seconds = np.array([p.seconds for p in plans])
    return Traces(time_s, channel, seconds, run.idle.remembered_deg())
