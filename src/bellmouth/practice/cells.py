"""Fuel control with long trims in cells of speed and load, and switching that waits its time."""

import numpy as np
from numpy.typing import NDArray

from bellmouth.practice.cars import Cars
from bellmouth.practice.columns import Floats, between
from bellmouth.practice.controller import Flags, FuelControl, FuelInput
from bellmouth.practice.engine import Flows
from bellmouth.practice.faults import Faults, Weather

__all__ = ["CelledFuelControl", "fuel_control"]

_SPEED_EDGES = (1300.0, 2300.0)
#: Of air a turn, against that at idle.
_LOAD_EDGES = (1.15, 2.0)
#: One cell at idle, then three of load for each of three speeds.
_CELLS = 1 + 3 * 3


class CelledFuelControl(FuelControl):
    """At idle the long trim is an amount of fuel, in the cells off it a factor.

    The switching sensor is believed only when it has stayed on its new side for a while, longer
    when it turns rich, and steps and ramps are larger towards rich than towards lean.
    """

    cell_count = _CELLS

    def __init__(self, car: Cars, fault: Faults, weather: Weather, variant: str) -> None:
        super().__init__(car, fault, weather, variant)
        self._speed_rpm = car.idle_speed_rpm.copy()
        self._per_charge = car.idle_speed_rpm / car.idle_airflow_g_s
        self._columns = np.arange(2 * len(car)).reshape(2, -1)
        self._waited_s = np.zeros((2, len(car)))

    def long(self, metered_g_s: Floats, idling: Flags) -> Floats:
        """Long trim in force, shape (2, cars): at idle an amount, as a share of the fuel. [-]"""
        kept = self.cells.take(self._where(metered_g_s, idling))
        share = np.minimum(1.0, self.car.idle_airflow_g_s / np.maximum(metered_g_s, 0.2))
        return np.asarray(np.where(idling, kept * share, kept))

    def _where(self, metered_g_s: Floats, idling: Flags) -> NDArray[np.intp]:
        """Where the trims in force stand in ``cells`` laid out flat, shape (2, cars)."""
        now = self._speed_rpm
        speed = (now > _SPEED_EDGES[0]) * 1 + (now > _SPEED_EDGES[1])
        charge = metered_g_s * self._per_charge / np.maximum(now, 200.0)
        load = (charge > _LOAD_EDGES[0]) * 1 + (charge > _LOAD_EDGES[1])
        cell = np.where(idling, 0, 1 + 3 * speed + load)
        return np.asarray(cell * self._columns.size + self._columns)

    def step(
        self, dt_s: float, metered_g_s: Floats, flows: Flows, speed_rpm: Floats, told: FuelInput,
        noise: Floats,
    ) -> Floats:  # fmt: skip
        """As :meth:`FuelControl.step`, which also decides by speed which cell is in force."""
        self._speed_rpm = speed_rpm
        return super().step(dt_s, metered_g_s, flows, speed_rpm, told, noise)

    def _correction(self, told: FuelInput) -> Floats:
        multiplied = np.where(told.idling, 0.0, self.short * self._active)
        return np.asarray(1.0 + self.short + self._active + multiplied)

    def _law(self, dt_s: float, error: Floats) -> tuple[Floats, Floats]:
        side = np.where(error > 0.004, 1.0, np.where(error < -0.004, -1.0, self._lean))
        self._waited_s = np.where(side == self._lean, 0.0, self._waited_s + dt_s)
        patience = np.where(side > 0, 0.05, 0.075)
        self._lean = np.where(self._waited_s >= patience - 1e-9, side, self._lean)
        lean = self._lean > 0
        return np.where(lean, 0.023, -0.020), np.where(lean, 0.012, -0.008)

    def _store(self, moved: Floats, metered_g_s: Floats, told: FuelInput) -> None:
        where, limit = self._where(metered_g_s, told.idling), self.car.long_limit
        kept = self.cells.take(where)
        self.cells.put(where, between(kept + moved, -limit, limit))


def fuel_control(car: Cars, fault: Faults, weather: Weather, variant: str) -> FuelControl:
    """The fuel control of a variant."""
    kind = CelledFuelControl if variant == "E" else FuelControl
    return kind(car, fault, weather, variant)
