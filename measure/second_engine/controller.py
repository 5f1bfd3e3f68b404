"""The car's controller: idle by plate and spark, air by meter or pressure, fuel by two trims.

Structure as the textbooks have it (Guzzella and Onder 2010, ch. 4; U. Kiencke and L. Nielsen,
Automotive Control Systems, 2005, ch. 3 and 4); gains are ours, common practice, no source.
"""

import math
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from measure.second_engine import flow
from measure.second_engine.cars import Cars
from measure.second_engine.days import Days
from measure.second_engine.plant import Plant, afr

__all__ = ["Air", "Idle", "Trims"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_RING: Final = 200
#: Of idle's opening a unit of relative error of speed, and the lowest error that counts.
_FAST: Final = 0.5
_FASTEST: Final = -0.06


@dataclass
class Idle:
    """Base opening learned, a quick part that may take away little, and a spark reserve."""

    cars: Cars
    learned: Floats = field(init=False)
    quick: Floats = field(init=False)
    unit: Floats = field(init=False)

    def __post_init__(self) -> None:
        cars = self.cars
        self.learned = cars.idle_opening * 1.0
        self.quick = np.zeros_like(self.learned)
        #: The opening that all of idle's air is worth [rad].
        self.unit = cars.idle_opening + cars.bypass / (cars.discharge * cars.slope)

    def act(
        self, dt: float, target: Floats, speed: Floats, ahead: Floats, pedal: Floats, free: bool
    ) -> tuple[Floats, Floats]:
        """Opening [rad] and spark [deg]; ``ahead`` is what a known load is worth of idle air.

        ``free`` while the car learns: the quick part may go as far as the plate's stop.
        """
        cars = self.cars
        error = (target - speed) / cars.idle_speed
        idling = pedal <= 0.0
        low = -10.0 * self.unit if free else -cars.authority * self.unit
        moved = self.quick + dt * 0.4 * self.unit * np.clip(error, -0.1, 0.15)
        base = self.learned + self.unit * ahead
        moved = np.clip(moved, np.maximum(low, -base), self.unit)
        self.quick = np.where(idling, moved, self.quick)
        fast = np.where(idling, _FAST * self.unit * np.clip(error, _FASTEST, 0.25), 0.0)
        opening = np.maximum(base + self.quick + fast + pedal, 0.0)
        reserve = np.clip(90.0 * error, -cars.spark_reserve, cars.spark_reserve)
        driven = np.clip(1.5 * (speed / target - 1.15), 0.0, 1.0) * (cars.best_spark - 2.0)
        advance = cars.base_spark + np.maximum(driven - cars.base_spark, 0.0)
        return opening, np.where(idling, cars.base_spark + reserve, advance)

    @property
    def most_taken(self) -> Floats:
        """The opening that both quick parts take away at their limits [rad]."""
        return (self.cars.authority - _FAST * _FASTEST) * self.unit

    def learn(self) -> None:
        """What the quick part had to add becomes the base."""
        self.learned = np.maximum(self.learned + self.quick, 0.0)
        self.quick = np.zeros_like(self.learned)


@dataclass
class Air:
    """What the controller takes the air for [kg/s], and what it reads."""

    cars: Cars
    days: Days
    meter: Floats = field(init=False)
    pressure: Floats = field(init=False)

    def __post_init__(self) -> None:
        self.meter = self.cars.idle_flow * 1.0
        self.pressure = np.full_like(self.meter, 35e3)

    def read(self, dt: float, plant: Plant) -> Floats:
        """Follow the sensors by ``dt`` [s] and return the air [kg/s]."""
        cars, days = self.cars, self.days
        passing = np.maximum(plant.through_plate, 1e-5)
        bent = (passing / (2.5 * cars.idle_flow)) ** (cars.meter_bend + days.bend)
        metered = np.where(cars.airflow_metered > 0, days.meter, 1.0)
        shown = passing * bent * np.exp(cars.meter_gain) * metered
        self.meter += (shown - self.meter) * (dt / (dt + cars.meter_lag))
        sensed = np.where(cars.airflow_metered > 0, 1.0, days.meter)
        true = plant.pressure * np.exp(cars.pressure_gain) * sensed + cars.pressure_zero
        self.pressure += (true - self.pressure) * (dt / (dt + 0.03))
        return np.asarray(
            np.where(cars.airflow_metered > 0, self.meter, self._computed(plant)), dtype=np.float64
        )

    def _computed(self, plant: Plant) -> Floats:
        """By speed and density, with a table that was measured on another engine of the kind."""
        cars = self.cars
        table = (
            1.0
            + cars.table_level
            + cars.table_slope * np.log(np.maximum(plant.speed / cars.idle_speed, 0.3))
        )
        relative = np.clip(plant.cylinder / cars.idle_flow, 0.3, 20.0)
        kelvin = self.days.intake + cars.table_heating * relative**-0.3
        return plant.drawn(self.pressure, kelvin) * table


@dataclass
class Trims:
    """Feedback over the exhaust's delay: a quick term, and a slow one in one cell or in two."""

    cars: Cars
    days: Days
    quick: Floats = field(init=False)
    slow: Floats = field(init=False)
    shown: Floats = field(init=False)
    sensed: Floats = field(init=False)
    lam: Floats = field(init=False)
    cell: NDArray[np.intp] = field(init=False)
    _past: Floats = field(init=False)
    _at: int = 0

    def __post_init__(self) -> None:
        n = len(self.cars.displacement)
        self.quick, self.shown = np.zeros(n), np.zeros(n)
        self.slow = np.zeros((2, n))
        self.sensed, self.lam = np.ones(n), np.ones(n)
        self.cell = np.zeros(n, dtype=np.intp)
        self._past = np.ones((_RING, n))

    @property
    def learned(self) -> Floats:
        """The slow term that is in use [-]."""
        return np.asarray(np.take_along_axis(self.slow, self.cell[None], axis=0)[0])

    def fuel(self, air: Floats, plant: Plant, purge: Floats) -> Floats:
        """The mixture in the cylinders [-] for the air that the controller believes in."""
        days = self.days
        total = (1.0 + self.shown) * (1.0 + self.learned)
        fuel = air * total * days.fuel / afr(days.ethanol_guess)
        share = purge / np.maximum(plant.cylinder, 1e-5)
        clean = plant.cylinder * (1.0 - share * days.purge_fuel)
        needed = fuel * afr(days.ethanol) + 14.6 * purge * days.purge_fuel
        self.lam = np.clip(clean / np.maximum(needed, 1e-7), 0.4, 2.5)
        return self.lam

    def follow(self, dt: float, plant: Plant, pedal: Bools, learning: float) -> None:
        """One step of sensor and loop; ``learning`` is how much faster than usual it learns."""
        cars = self.cars
        self._past[self._at] = self.lam
        hot = plant.cylinder * flow.R * 850.0 / 101e3
        delay = 3.0 * math.pi / plant.speed + 1e3 * cars.displacement * cars.exhaust_volume * (
            1e-3 / np.maximum(hot, 1e-4)
        )
        back = np.clip((delay / dt).astype(np.intp), 1, _RING - 1)
        there = (self._at - back) % _RING
        self._at = (self._at + 1) % _RING
        arrived = np.take_along_axis(self._past, there[None], axis=0)[0]
        self.sensed += (arrived - self.sensed) * (dt / (dt + cars.sensor_lag))
        error = self.sensed - 1.0
        wide = cars.wide > 0
        ramp = np.where(wide, 0.5 * np.clip(error, -0.2, 0.2), cars.trim_ramp * np.sign(error))
        self.quick = np.clip(self.quick + dt * ramp, -cars.trim_limit, cars.trim_limit)
        jump = np.where(wide, 0.25 * np.clip(error, -0.1, 0.1), cars.trim_jump * np.sign(error))
        self.shown = np.clip(self.quick + jump, -cars.trim_limit, cars.trim_limit)
        self.cell = np.where(pedal & (cars.two_cells > 0), 1, 0)
        pace = dt * learning / cars.learning_time
        moved = np.clip(self.learned + pace * self.quick, -cars.trim_limit, cars.trim_limit)
        np.put_along_axis(self.slow, self.cell[None], moved[None], axis=0)
