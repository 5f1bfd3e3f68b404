"""A filling law without a formula: a spline surface through knots, with valve timing in steps.

Knots lie evenly over the logarithm of speed and over pressure. Between them the surface is the
tensor product of uniform quadratic B-splines (C. de Boor, A Practical Guide to Splines, chapter
IX, quoted from memory). It is drawn up once as a fine table, because a loop over time steps asks
for it often.
"""

from dataclasses import dataclass, replace

import numpy as np

from bellmouth.practice.cars import Cars
from bellmouth.practice.columns import Floats, between

__all__ = ["KnottedSurface", "knotted_surface"]

_LEAST_RPM, _SPEED_STEP, _SPEEDS = 450.0, 0.334, 10
_LEAST_KPA, _PRESSURE_STEP, _PRESSURES = 12.0, 20.0, 8
#: Cells of the fine table between two knots: about 1 % of speed, 4 kPa.
_FINE_SPEED, _FINE_PRESSURE = 32, 5
_ROWS = (_SPEEDS - 2) * _FINE_SPEED + 1
_COLUMNS = (_PRESSURES - 2) * _FINE_PRESSURE + 1
_LAST = np.array([[_ROWS - 1.0], [_COLUMNS - 1.0]]) - 1e-9
_CORNERS = np.array([[0], [1], [_COLUMNS], [_COLUMNS + 1]])
_KNOT_SCATTER = 0.06
_LEAST_FILLING = 0.12


@dataclass(frozen=True)
class KnottedSurface:
    """Volumetric efficiency, read from a fine table a car.

    ``table`` has shape (cars, speeds, pressures); ``idle_factor`` and ``load_factor`` make it
    pass through the car's drawn levels at ``idle_kpa`` and ``load_kpa``.
    """

    table: Floats
    idle_kpa: Floats
    load_kpa: float
    idle_factor: Floats
    load_factor: Floats

    def __call__(
        self,
        pressure_kpa: Floats,
        speed_rpm: Floats,
        exhaust_kpa: Floats,  # noqa: ARG002
    ) -> Floats:
        """Filling at these states. [kPa], [rpm], [kPa] -> [-]"""
        share = (pressure_kpa - self.idle_kpa) / (self.load_kpa - self.idle_kpa)
        levels = self.idle_factor + (self.load_factor - self.idle_factor) * between(share, 0.0, 1.0)
        return np.maximum(_LEAST_FILLING, self._read(pressure_kpa, speed_rpm) * levels)

    def _read(self, pressure_kpa: Floats, speed_rpm: Floats) -> Floats:
        """Linear between the table's places, level beyond its ends."""
        at = np.empty((2, len(pressure_kpa)))
        octaves = np.log(np.maximum(speed_rpm, 150.0) / _LEAST_RPM)
        at[0] = octaves * (_FINE_SPEED / _SPEED_STEP)
        at[1] = (pressure_kpa - _LEAST_KPA) * (_FINE_PRESSURE / _PRESSURE_STEP)
        at = between(at, 0.0, _LAST)
        place = at.astype(np.intp)
        down, across = at - place
        first = (np.arange(len(self.table)) * _ROWS + place[0]) * _COLUMNS + place[1]
        corner = self.table.take(first + _CORNERS)
        upper = corner[0] + (corner[1] - corner[0]) * across
        lower = corner[2] + (corner[3] - corner[2]) * across
        return np.asarray(upper + (lower - upper) * down)


def _splines(count: int, fine: int) -> Floats:
    """Weight of each of ``count`` knots at each place of a table. (places, knots)"""
    at = np.minimum(np.arange((count - 2) * fine + 1) / fine, count - 2 - 1e-9)
    first = at.astype(np.intp)
    into = at - first
    weights = np.zeros((len(at), count))
    places = np.arange(len(at))
    weights[places, first] = 0.5 * (1.0 - into) ** 2
    weights[places, first + 1] = 0.5 + into * (1.0 - into)
    weights[places, first + 2] = 0.5 * into * into
    return weights


def _steps(chance: Floats) -> Floats:
    """Timing moves over at two speeds; little of it is left as the manifold fills.

    ``chance`` has shape (6, cars), the factor that is returned (cars, speeds, pressures).
    """
    speed = _LEAST_RPM * np.exp(_SPEED_STEP / _FINE_SPEED * np.arange(_ROWS))
    pressure = _LEAST_KPA + _PRESSURE_STEP / _FINE_PRESSURE * np.arange(_COLUMNS)
    begins = np.stack([1150.0 + 950.0 * chance[0], 2700.0 + 1100.0 * chance[1]])
    width = 50.0 + 40.0 * chance[2:4]
    height = 0.14 * (chance[4:] - 0.5)
    height = height + np.sign(height) * 0.01
    over = 0.5 + 0.5 * np.tanh((speed - begins[:, :, None]) / width[:, :, None])
    moved = np.sum(height[:, :, None] * over, axis=0)
    return np.asarray(1.0 + moved[:, :, None] * np.clip((110.0 - pressure) / 70.0, 0.0, 1.0))


def _trend(car: Cars, load_kpa: float, load_rpm: float) -> Floats:
    """What knots scatter around: rising with the logarithm of pressure, tilted over speed."""
    speeds = _LEAST_RPM * np.exp(_SPEED_STEP * (np.arange(_SPEEDS) - 0.5))
    pressures = np.maximum(_LEAST_KPA + _PRESSURE_STEP * (np.arange(_PRESSURES) - 0.5), 5.0)
    idle_kpa, idle_rpm = car.idle_kpa[:, None], car.idle_speed_rpm[:, None]
    share = np.log(pressures / idle_kpa) / np.log(load_kpa / idle_kpa)
    idle, load = car.filling_idle[:, None], car.filling_load[:, None]
    level = np.clip(idle + (load - idle) * share, 0.72 * idle, 1.12 * load)
    octaves = np.log(speeds / idle_rpm) / np.log(load_rpm / idle_rpm)
    tilt = 1.0 + 0.7 * car.filling_speed[:, None] * octaves
    return np.asarray(tilt[:, :, None] * level[:, None, :])


def knotted_surface(car: Cars, load_kpa: float, load_rpm: float) -> KnottedSurface:
    """The cars' surfaces, through ``filling_idle`` at idle and ``filling_load`` under load.

    Parameters
    ----------
    car
        The cars; knots and steps are chance, but each car's own and the same in any company.
    load_kpa, load_rpm
        State at which ``filling_load`` is reached. [kPa], [rpm]
    """
    streams = [np.random.default_rng(int(bits)) for bits in car.wave_phase.view(np.uint64)]
    chance = np.stack([stream.random(_SPEEDS * _PRESSURES + 6) for stream in streams])
    scatter = chance[:, 6:].reshape(-1, _SPEEDS, _PRESSURES)
    knots = _trend(car, load_kpa, load_rpm) * (1.0 + _KNOT_SCATTER * (2.0 * scatter - 1.0))
    over_speed = _splines(_SPEEDS, _FINE_SPEED)
    smooth = over_speed @ knots @ _splines(_PRESSURES, _FINE_PRESSURE).T
    table = np.ascontiguousarray(smooth * _steps(chance[:, :6].T))
    one = np.ones(len(car))
    law = KnottedSurface(table, car.idle_kpa, load_kpa, one, one)
    idle = law(car.idle_kpa, car.idle_speed_rpm, 100.0 * one)
    load = law(load_kpa * one, load_rpm * one, 100.0 * one)
    return replace(law, idle_factor=car.filling_idle / idle, load_factor=car.filling_load / load)
