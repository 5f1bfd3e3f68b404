"""Idle control of practice cars: five kinds, each with an opening that it learns and remembers.

The controller knows the opening that a clean, nominal engine idles at, and learns what this one
needs beside it. In :meth:`IdleControl.step` angles are degrees above the stop.
"""

from dataclasses import dataclass

import numpy as np

from bellmouth.practice.cars import Cars, idle_spark_factor, learnable_deg, spark_away_deg
from bellmouth.practice.columns import Floats, between

__all__ = ["IDLE_CONTROLS", "IdleControl", "IdleInput"]

Flags = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


@dataclass(frozen=True)
class IdleInput:
    """What idle control sees in a step: ``active`` where it may act."""

    speed_rpm: Floats
    target_rpm: Floats
    load: Floats
    active: Flags
    pedal_up: Flags
    cold: Floats


class IdleControl:
    """Proportional and integral control of the plate with an additive learned opening.

    Attributes
    ----------
    learned
        What learning added, [deg] here, a factor in :class:`_Banded` and :class:`_Demand`,
        a logarithm in :class:`_Reserve`.
    learn_s
        Time constant of learning; short while a practice car settles before its recording.
    """

    dead_band_rpm = 0.0
    learned_neutral = 0.0

    def __init__(self, car: Cars, area_mm2: Floats) -> None:
        self.car = car
        # Opening that makes up all of the idle air: the unit in which gains are set.
        self.unit_deg = area_mm2 / car.slope_mm2_deg
        self.learned = np.full(len(car), self.learned_neutral)
        self.integral = np.zeros(len(car))
        self.down_deg = 0.5 * self.unit_deg
        self.learn_s: Floats | float = 2.0
        self._spark = np.zeros(len(car))

    def remembered_deg(self) -> Floats:
        """Opening with feedback at rest and no load. [deg]"""
        return np.asarray(self.car.idle_opening_deg + self.learned)

    def remember(self, extra_deg: Floats, closable: Floats) -> None:
        """Shift what is remembered, as cleaning does, with feedback free to take back a share."""
        self._shift(extra_deg)
        stale = extra_deg > 0
        self.down_deg = np.where(stale, closable * extra_deg, self.down_deg)
        self.integral = np.where(stale, -self.down_deg, self.integral)

    def grow_used_to(self, extra_deg: Floats) -> None:
        """Learn an opening that was needed more and more, over months, as deposit asks for it."""
        self._shift(extra_deg)
        self._limit()

    def _shift(self, extra_deg: Floats) -> None:
        self.learned = self.learned + extra_deg

    def step(self, dt_s: float, seen: IdleInput) -> tuple[Floats, Floats]:
        """Commanded opening and spark advance for the next step. [deg], [deg]"""
        error = seen.target_rpm - seen.speed_rpm
        banded = np.sign(error) * np.maximum(np.abs(error) - self.dead_band_rpm, 0.0)
        # Closing hard on an overrun would stall the engine when it comes down.
        relative = between(banded / seen.target_rpm, -0.12, 0.4)
        feedback = self._feedback(dt_s, relative, seen.active)
        self._learn(dt_s, relative, seen)
        opening = self._opening(seen, feedback)
        return np.maximum(opening, self.car.floor_deg), self._spark_deg(error, seen)

    def _feedback(self, dt_s: float, relative: Floats, active: Flags) -> Floats:
        rate = 0.55 * self.car.idle_gain * self.unit_deg * relative
        moved = self.integral + np.where(active, rate * dt_s, 0.0)
        self.integral = between(moved, -self.down_deg, self.car.authority_up_deg)
        total = self.integral + 0.9 * self.car.idle_gain * self.unit_deg * relative
        total = between(total, -self.down_deg, self.car.authority_up_deg)
        return np.where(active, total, self.integral)

    def _learn(self, dt_s: float, relative: Floats, seen: IdleInput) -> None:
        calm = seen.active & (np.abs(relative) < 0.06) & (seen.load < 0.5) & (seen.cold < 0.05)
        moved = np.where(calm, self.integral * (dt_s / self.learn_s), 0.0)
        before = self.remembered_deg()
        self._shift(moved)
        self._limit()
        self.integral = self.integral - (self.remembered_deg() - before)

    def _limit(self) -> None:
        least = self.car.floor_deg - self.car.idle_opening_deg
        self.learned = between(self.learned, least, learnable_deg(self.car))

    def _opening(self, seen: IdleInput, feedback: Floats) -> Floats:
        return self.remembered_deg() + self._ahead(seen) * self.unit_deg + feedback

    def _ahead(self, seen: IdleInput) -> Floats:
        """Share of idle air opened in advance of a load or of a cold engine's friction. [-]"""
        share = self.car.load_feedforward * self.car.load_kpa / 190.0
        return seen.load * share + 0.5 * seen.cold

    def _spark_deg(self, error: Floats, seen: IdleInput) -> Floats:
        added = between(self.car.spark_gain * error, -12.0, 8.0)
        self._spark = self._spark + (added - self._spark) * 0.3
        return np.where(seen.pedal_up, self.car.idle_spark_deg + self._spark, np.nan)


class _Stepper(IdleControl):
    """A stepping motor moves the stop one step at a time; slow, integral only, with a dead band."""

    dead_band_rpm = 14.0

    def __init__(self, car: Cars, area_mm2: Floats) -> None:
        super().__init__(car, area_mm2)
        self._step_deg = 0.035 * self.unit_deg
        self._position = np.zeros(len(car))

    def _feedback(self, dt_s: float, relative: Floats, active: Flags) -> Floats:
        steps = between(np.round(relative * 40.0), -4.0, 4.0)
        moved = self.integral + np.where(active, steps * self._step_deg * dt_s, 0.0)
        self.integral = between(moved, -self.down_deg, self.car.authority_up_deg)
        return self.integral

    def _opening(self, seen: IdleInput, feedback: Floats) -> Floats:
        wanted = super()._opening(seen, feedback) / self._step_deg
        self._position = self._position + between(wanted - self._position, -1.2, 1.2)
        return np.asarray(np.round(self._position) * self._step_deg)


class _Banded(IdleControl):
    """Proportional and integral with a dead band; learning is a factor on the base opening."""

    dead_band_rpm = 8.0
    learned_neutral = 1.0

    def remembered_deg(self) -> Floats:
        return np.asarray((self.car.idle_opening_deg + 0.8) * self.learned - 0.8)

    def _shift(self, extra_deg: Floats) -> None:
        self.learned = self.learned + extra_deg / (self.car.idle_opening_deg + 0.8)

    def _limit(self) -> None:
        base = self.car.idle_opening_deg + 0.8
        most = 1.0 + learnable_deg(self.car) / base
        self.learned = between(self.learned, (self.car.floor_deg + 0.8) / base, most)


class _Demand(IdleControl):
    """Air demand: shares of idle air are added up, then turned into an opening once."""

    learned_neutral = 1.0

    def remembered_deg(self) -> Floats:
        return self.car.idle_opening_deg + (self.learned - 1.0) * self.unit_deg

    def _shift(self, extra_deg: Floats) -> None:
        self.learned = self.learned + extra_deg / self.unit_deg

    def _limit(self) -> None:
        least = 1.0 + (self.car.floor_deg - self.car.idle_opening_deg) / self.unit_deg
        most = 1.0 + learnable_deg(self.car) / self.unit_deg
        self.learned = between(self.learned, least, most)

    def _opening(self, seen: IdleInput, feedback: Floats) -> Floats:
        # Demand is air per second: a raised target speed asks for more of it by itself.
        demand = seen.target_rpm / self.car.idle_speed_rpm - 1.0
        share = 0.5 * demand + self._ahead(seen) + feedback / self.unit_deg
        return self.remembered_deg() + share * self.unit_deg


class _Reserve(IdleControl):
    """Torque reserve: spark answers at once with the torque asked for, air follows slowly.

    Spark makes up what the air of this moment lacks or has too much, and rests at its idle value
    when air has arrived; where air may not follow, spark keeps what is left over. Learning is the
    logarithm of the whole idle area, bypass included.
    """

    #: Share of the way that air goes in a step: half a second.
    air_share = 0.05

    def __init__(self, car: Cars, area_mm2: Floats) -> None:
        super().__init__(car, area_mm2)
        self._bypass_deg = car.bypass_mm2 / car.slope_mm2_deg
        self._torque = np.zeros(len(car))
        self._air = np.zeros(len(car))
        self._asked = np.ones(len(car))
        self._at_rest = idle_spark_factor(car)

    def remembered_deg(self) -> Floats:
        whole = self.car.idle_opening_deg + self._bypass_deg
        return np.asarray(whole * np.exp(self.learned) - self._bypass_deg)

    def _log_of(self, opening_deg: Floats) -> Floats:
        whole = np.maximum(opening_deg + self._bypass_deg, 1e-3)
        return np.log(whole / (self.car.idle_opening_deg + self._bypass_deg))

    def _shift(self, extra_deg: Floats) -> None:
        self.learned = self._log_of(self.remembered_deg() + extra_deg)

    def _limit(self) -> None:
        most = self.car.idle_opening_deg + learnable_deg(self.car)
        self.learned = between(self.learned, self._log_of(self.car.floor_deg), self._log_of(most))

    def _feedback(self, dt_s: float, relative: Floats, active: Flags) -> Floats:
        gain = self.car.idle_gain * self.unit_deg * relative
        moved = self.integral + np.where(active, 0.55 * gain * dt_s, 0.0)
        self.integral = between(moved, -self.down_deg, self.car.authority_up_deg)
        self._torque = self.integral + np.where(active, 1.8 * gain, 0.0)
        return between(self._torque, -self.down_deg, self.car.authority_up_deg)

    def _opening(self, seen: IdleInput, feedback: Floats) -> Floats:
        ahead = self._ahead(seen)
        wanted = feedback + ahead * self.unit_deg
        self._air = self._air + (wanted - self._air) * self.air_share
        torque = np.maximum(1.0 + ahead + self._torque / self.unit_deg, 0.1)
        self._asked = torque / np.maximum(1.0 + self._air / self.unit_deg, 0.1)
        return self.remembered_deg() + self._air

    def _spark_deg(self, error: Floats, seen: IdleInput) -> Floats:  # noqa: ARG002
        car = self.car
        spark = car.best_spark_deg - spark_away_deg(self._at_rest * self._asked)
        spark = between(spark, car.idle_spark_deg - 12.0, car.idle_spark_deg + 8.0)
        return np.where(seen.pedal_up, spark, np.nan)


IDLE_CONTROLS: dict[str, type[IdleControl]] = {
    "A": IdleControl, "B": _Stepper, "C": _Banded, "D": _Demand, "E": _Reserve,
}  # fmt: skip
