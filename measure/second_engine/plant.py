"""The engine itself: manifold, cylinders, crank, exhaust. One step for all cars at once.

A mean-value engine as of E. Hendricks and S. Sorenson, SAE 900616 (1990), and Guzzella and Onder
(2010), ch. 2; quoted from memory.
"""

import math
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from measure.second_engine import flow
from measure.second_engine.cars import HEAT, Cars, friction_pa
from measure.second_engine.days import Days

__all__ = ["Plant", "afr", "effective_area", "spark_efficiency"]

Floats = NDArray[np.float64]

#: Of petrol and of ethanol [kg/kg], and their densities [kg/L] (Heywood, app. D, from memory).
_AFR: Final = (14.6, 9.0)
_DENSITY: Final = (0.745, 0.789)


def afr(ethanol: Floats) -> Floats:
    """Stoichiometric air over fuel by mass [-] at a share of ethanol by volume [-]."""
    heavy = ethanol * _DENSITY[1]
    share = heavy / (heavy + (1.0 - ethanol) * _DENSITY[0])
    return np.asarray(_AFR[0] * (1.0 - share) + _AFR[1] * share)


def spark_efficiency(spark: Floats, best: Floats) -> Floats:
    """Torque over that at the best spark [-]; angles in deg (Guzzella and Onder, 2.5)."""
    return np.asarray(np.maximum(1.0 - 4.5e-4 * (best - spark) ** 2, 0.2))


def mixture_efficiency(lam: Floats) -> Floats:
    """Torque over that at stoichiometry [-]: falls with the fuel when lean and misses from about
    1.3 on, gains a little when rich (Heywood fig. 15-7, its shape by eye)."""
    lean = 1.0 - 0.9 * np.maximum(lam - 1.0, 0.0) - 12.0 * np.maximum(lam - 1.3, 0.0) ** 2
    rich = np.clip(1.0 - lam, 0.0, 0.6)
    return np.asarray(np.maximum(lean + 0.5 * rich - 2.2 * rich**2, 0.0))


def effective_area(cars: Cars, days: Days, opening: Floats, ratio: Floats) -> Floats:
    """Of plate and bypass, less the deposit [m2], at an opening [rad] and a pressure ratio [-].

    Discharge changes along the opening, and falls as the flow slows (Perry 1949, its sense).
    """
    along = flow.discharging(cars.discharge, cars.shape, opening)
    slowed = 1.0 - cars.compressible * np.clip((ratio - flow.CRITICAL) / 0.47, 0.0, 1.0)
    plate = flow.plate_area(cars.bore, cars.closed, opening) * along * slowed
    there = plate + cars.bypass
    return there - flow.deposit_area(days.deposit, days.deposit_reach, opening, there)


@dataclass
class Plant:
    """State: manifold pressure [Pa], crank speed [rad/s], torque in the making [N m]; and the
    flows [kg/s] and the mixture of the last step."""

    cars: Cars
    days: Days
    rng: np.random.Generator
    pressure: Floats = field(init=False)
    speed: Floats = field(init=False)
    torque: Floats = field(init=False)
    noise: Floats = field(init=False)
    through_plate: Floats = field(init=False)
    cylinder: Floats = field(init=False)
    leak: Floats = field(init=False)

    def __post_init__(self) -> None:
        shape = self.cars.displacement.shape
        self.pressure = np.full(shape, 35e3)
        self.speed = self.cars.idle_speed * 1.0
        self.noise = np.zeros(shape)
        self.through_plate = self.cars.idle_flow * 1.0
        self.cylinder = self.cars.idle_flow * 1.0
        self.leak = np.zeros(shape)
        self.torque = self._indicated(np.ones(shape), self.cars.base_spark)

    def charge_kelvin(self) -> Floats:
        """Of the charge [K]: heated on the way, the less the more flows."""
        relative = np.clip(self.cylinder / self.cars.idle_flow, 0.3, 20.0)
        return self.days.intake + self.cars.heating * relative**-0.3

    def filling(self, pressure: Floats) -> Floats:
        """Of the swept volume [-] at a manifold pressure [Pa] and the present speed."""
        cars = self.cars
        loading = self.cylinder / (cars.displacement * 1e3 * 0.02)
        exhaust = self.days.barometer + 3e3 * loading**2
        # Less time in the overlap flows back less.
        residual = cars.residual * np.sqrt(cars.idle_speed / np.maximum(self.speed, 30.0)) ** 0.5
        full = cars.eta_full * flow.waves(cars.wave, cars.wave_phase, self.speed)
        return flow.filling(full, residual, exhaust / np.maximum(pressure, 5e3))

    def drawn(self, pressure: Floats, kelvin: Floats) -> Floats:
        """Flow into the cylinders [kg/s] by speed and density (Heywood 2.27)."""
        swept = self.cars.displacement * self.speed / (4.0 * math.pi)
        return self.filling(pressure) * pressure * swept / (flow.R * kelvin)

    def step(
        self, dt: float, opening: Floats, spark: Floats, lam: Floats, load: Floats, purge: Floats
    ) -> None:
        """On by ``dt`` [s] with an opening [rad], a spark [deg], a mixture [-], a load [N m] and
        a purge [kg/s]."""
        days, cars = self.days, self.cars
        area = effective_area(cars, days, opening, self.pressure / days.barometer)
        rate = flow.orifice(1.0, days.barometer, self.pressure, days.intake)
        self.through_plate = area * rate
        self.leak = days.leak_area * rate
        kelvin = self.charge_kelvin()
        self.cylinder = self.drawn(self.pressure, kelvin)
        net = self.through_plate + self.leak + purge - self.cylinder
        self.pressure = np.clip(
            self.pressure + dt * net * flow.R * kelvin / cars.volume, 8e3, days.barometer
        )
        self._turn(dt, spark, lam, load)

    def _turn(self, dt: float, spark: Floats, lam: Floats, load: Floats) -> None:
        """The crank: torque follows the charge by about a revolution, and is never even."""
        cars = self.cars
        made = self._indicated(lam, spark)
        self.torque = self.torque + dt * (made - self.torque) * self.speed / (2.0 * math.pi)
        keep = math.exp(-dt / 0.08)
        fresh = math.sqrt(1.0 - keep**2) * self.rng.standard_normal(self.speed.shape)
        self.noise = keep * self.noise + fresh
        lost = cars.friction * friction_pa(self.speed) + (self.days.barometer - self.pressure)
        braking = lost * cars.displacement / (4.0 * math.pi) + load
        turning = self.torque * (1.0 + cars.roughness * self.noise) - braking
        self.speed = np.clip(self.speed + dt * turning / cars.inertia, 10.0, 700.0)

    def _indicated(self, lam: Floats, spark: Floats) -> Floats:
        cars = self.cars
        best = cars.best_spark + 4.0 * np.clip(self.speed / cars.idle_speed - 1.0, 0.0, 3.0)
        heat = self.cylinder * HEAT / self.speed
        return np.asarray(
            heat * cars.indicated * spark_efficiency(spark, best) * mixture_efficiency(lam)
        )
