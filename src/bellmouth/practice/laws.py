"""How a practice engine fills and how its plate opens: five structurally different sets of laws.

Each law is a small class built from arrays with one element a car. Filling laws are solved so that
they pass through the car's two drawn levels (idle, and 85 kPa at 2500 rpm); plate laws through
its drawn slope near closed.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from bellmouth.practice.cars import Cars
from bellmouth.practice.columns import Floats, between
from bellmouth.practice.surface import knotted_surface

__all__ = [
    "BLEEDS",
    "FADES",
    "FILLING_LAWS",
    "LOAD_KPA",
    "LOAD_RPM",
    "PLATE_LAWS",
    "Filling",
    "Plate",
    "filling_waves",
    "heating_k",
    "round_plate_mm2",
]

LOAD_KPA = 85.0
LOAD_RPM = 2500.0
_LEAST_FILLING = 0.12


class Filling(Protocol):
    """Volumetric efficiency of manifold state, without waves."""

    def __call__(self, pressure_kpa: Floats, speed_rpm: Floats, exhaust_kpa: Floats) -> Floats:
        """Filling at these states. [kPa], [rpm], [kPa] -> [-]"""


class Plate(Protocol):
    """Effective area that the plate itself opens."""

    def __call__(self, opening_deg: Floats) -> Floats:
        """Area at an opening above the closed stop. [deg] -> [mm²]"""


def filling_waves(car: Cars, pressure_kpa: Floats, speed_rpm: Floats) -> Floats:
    """Factor of the intake's standing waves, up to about 3 % either way. [-]"""
    speed = np.sin(car.wave_speed * np.log(speed_rpm) + car.wave_phase)
    pressure = np.sin(pressure_kpa / car.wave_kpa + 2.0 * car.wave_phase)
    return 1.0 + car.wave_share * (0.65 * speed + 0.35 * pressure)


def heating_k(car: Cars, airflow_g_s: Floats) -> Floats:
    """Heat taken up between the intake air sensor and the cylinders, falling with flow. [K]"""
    relative = np.maximum(airflow_g_s, 0.0) / car.idle_airflow_g_s
    return car.heating_k * (1.0 + car.heating_fade) / (1.0 + car.heating_fade * relative)


@dataclass(frozen=True)
class _Affine:
    """``s - y / p``: mass an affine function of manifold pressure."""

    s: Floats
    y: Floats
    speed: Floats
    idle_rpm: Floats

    def __call__(
        self,
        pressure_kpa: Floats,
        speed_rpm: Floats,
        exhaust_kpa: Floats,  # noqa: ARG002
    ) -> Floats:
        octaves = np.log(np.maximum(speed_rpm, 150.0) / self.idle_rpm)
        tilt = 1.0 + self.speed * octaves * (1.0 - octaves / np.log(LOAD_RPM / self.idle_rpm))
        return np.maximum(_LEAST_FILLING, (self.s - self.y / pressure_kpa) * tilt)


def _affine(car: Cars) -> Filling:
    y = (car.filling_load - car.filling_idle) / (1.0 / car.idle_kpa - 1.0 / LOAD_KPA)
    return _Affine(car.filling_load + y / LOAD_KPA, y, car.filling_speed, car.idle_speed_rpm)


@dataclass(frozen=True)
class _Residual:
    """Residual gas of exhaust pressure expands into the charge: level and overlap share."""

    level: Floats
    overlap: Floats
    speed: Floats
    idle_rpm: Floats

    def __call__(self, pressure_kpa: Floats, speed_rpm: Floats, exhaust_kpa: Floats) -> Floats:
        expanded = (exhaust_kpa / pressure_kpa) ** 0.714 - 1.0
        octaves = np.log(np.maximum(speed_rpm, 150.0) / self.idle_rpm)
        tilt = 1.0 + self.speed * np.sin(2.2 * octaves)
        return np.maximum(_LEAST_FILLING, self.level * (1.0 - self.overlap * expanded) * tilt)


def _residual(car: Cars) -> Filling:
    idle = (100.0 / car.idle_kpa) ** 0.714 - 1.0
    load = (100.0 / LOAD_KPA) ** 0.714 - 1.0
    ratio = car.filling_idle / car.filling_load
    overlap = (1.0 - ratio) / (idle - ratio * load)
    return _Residual(
        car.filling_load / (1.0 - overlap * load), overlap, car.filling_speed, car.idle_speed_rpm
    )


@dataclass(frozen=True)
class _Moving:
    """Valve timing that moves: fuller at light load off idle, a dip at part load."""

    idle: Floats
    load: Floats
    dip: Floats
    lift: Floats
    idle_kpa: Floats

    def __call__(
        self,
        pressure_kpa: Floats,
        speed_rpm: Floats,
        exhaust_kpa: Floats,  # noqa: ARG002
    ) -> Floats:
        off_idle = between((speed_rpm - 1050.0) / 700.0, 0.0, 1.0)
        share = between((pressure_kpa - self.idle_kpa) / (LOAD_KPA - self.idle_kpa), -0.5, 1.4)
        base = self.idle + (self.load - self.idle) * np.sign(share) * np.abs(share) ** 1.4
        bump = np.exp(-(((pressure_kpa - 64.0) / 15.0) ** 2))
        light = np.exp(-(((pressure_kpa - 26.0) / 14.0) ** 2))
        factor = 1.0 + off_idle * (self.lift * light - self.dip * bump)
        return np.maximum(_LEAST_FILLING, base * factor)


def _moving(car: Cars) -> Filling:
    return _Moving(
        car.filling_idle, car.filling_load, 0.10 + car.filling_dip, car.filling_dip, car.idle_kpa
    )


@dataclass(frozen=True)
class _Saturating:
    """Filling that saturates with pressure, with a ram peak over speed."""

    floor: Floats
    gain: Floats
    scale_kpa: Floats
    ram: Floats
    peak_rpm: Floats
    idle_ram: Floats

    def __call__(
        self,
        pressure_kpa: Floats,
        speed_rpm: Floats,
        exhaust_kpa: Floats,  # noqa: ARG002
    ) -> Floats:
        rise = 1.0 - np.exp(-pressure_kpa / self.scale_kpa)
        detuned = (speed_rpm - self.peak_rpm) / 1500.0
        ram = (1.0 + self.ram / (1.0 + detuned * detuned)) / self.idle_ram
        return np.maximum(_LEAST_FILLING, (self.floor + self.gain * rise) * ram)


def _saturating(car: Cars) -> Filling:
    scale = 18.0 + 4.0 * car.wave_kpa
    low, high = 1.0 - np.exp(-car.idle_kpa / scale), 1.0 - np.exp(-LOAD_KPA / scale)
    gain = (car.filling_load - car.filling_idle) / (high - low)
    ram = 1.0 * car.filling_speed
    peak = 2600.0 + 250.0 * car.wave_phase
    idle_ram = 1.0 + ram / (1.0 + ((car.idle_speed_rpm - peak) / 1500.0) ** 2)
    return _Saturating(car.filling_idle - gain * low, gain, scale, ram, peak, idle_ram)


def _knotted(car: Cars) -> Filling:
    return knotted_surface(car, LOAD_KPA, LOAD_RPM)


FILLING_LAWS: dict[str, Callable[[Cars], Filling]] = {
    "A": _affine, "B": _residual, "C": _moving, "D": _saturating, "E": _knotted,
}  # fmt: skip


def _segment(t: Floats) -> Floats:
    return t * np.sqrt(np.maximum(1.0 - t * t, 0.0)) + np.arcsin(np.minimum(t, 1.0))


def round_plate_mm2(
    opening_deg: Floats, closed_deg: Floats, bore_mm: Floats, shaft_mm: Floats
) -> Floats:
    """Geometric area of a round plate on a shaft: circle less the plate's ellipse and the shaft.

    Parameters
    ----------
    opening_deg, closed_deg
        Opening above the stop, and the plate's angle to the bore's section there. [deg]
    bore_mm, shaft_mm
        Diameters. [mm]

    References
    ----------
    .. [1] Derived from the two ellipses; the geometry is that of J. B. Heywood, Internal
       Combustion Engine Fundamentals, section 7.6.1 (quoted from memory).
    """
    a = shaft_mm / bore_mm
    closed = np.radians(closed_deg)
    angle = np.minimum(closed + np.radians(np.maximum(opening_deg, 0.0)), np.pi / 2)
    k = np.maximum(np.cos(angle) / np.cos(closed), a)
    section = np.pi / 4.0 * bore_mm**2
    share = 1.0 - k + (2.0 / np.pi) * (k * _segment(a / k) - _segment(a))
    return np.asarray(section * np.maximum(share, 0.0))


def _shape(car: Cars, opening_deg: Floats) -> Floats:
    """Up to 35 % of discharge either way, changing smoothly with opening from 1 at closed."""
    return 1.0 + car.plate_shape * np.tanh(np.maximum(opening_deg, 0.0) / car.plate_shape_deg)


def _round(car: Cars) -> Plate:
    shaft = 0.16 * car.bore_mm

    def area(opening_deg: Floats) -> Floats:
        plate = round_plate_mm2(opening_deg, car.plate_closed_deg, car.bore_mm, shaft)
        return car.discharge * plate * _shape(car, opening_deg)

    return area


def _most(car: Cars) -> Floats:
    return car.discharge * np.pi / 4.0 * car.bore_mm**2 * 0.8


def _quadratic(car: Cars) -> Plate:
    curve = car.slope_mm2_deg * 0.06 * (1.0 + car.plate_shape)

    def area(opening_deg: Floats) -> Floats:
        x = np.maximum(opening_deg, 0.0)
        return np.minimum(_most(car), car.slope_mm2_deg * x + curve * x * x)

    return area


def _progressive(car: Cars) -> Plate:
    exponent = 1.15 + 0.6 * np.abs(car.plate_shape)
    step_deg = 5.0 + car.plate_shape_deg

    def area(opening_deg: Floats) -> Floats:
        x = np.maximum(opening_deg, 0.0)
        power = car.slope_mm2_deg * 2.0 * (x / 2.0) ** exponent
        # A stepped bore: past its shoulder each degree opens more than before.
        step = (0.6 + car.plate_shape) * car.slope_mm2_deg * np.maximum(x - step_deg, 0.0)
        return np.minimum(_most(car), power + step)

    return area


def _tabulated(car: Cars) -> Plate:
    knots = np.array([0.0, 1.0, 2.5, 5.0, 10.0, 20.0, 45.0, 85.0])
    slopes = car.slope_mm2_deg[:, None] * np.array([1.0, 1.0, 1.1, 1.25, 1.7, 2.6, 1.5])
    wobble = np.sin(car.wave_phase[:, None] * 3.0 + 1.9 * np.arange(7.0))
    slopes = slopes * (1.0 + np.abs(car.plate_shape)[:, None] * wobble)
    areas = np.concatenate(
        [np.zeros((len(car), 1)), np.cumsum(slopes * np.diff(knots), axis=1)], axis=1
    )
    rows = np.arange(len(car))

    def area(opening_deg: Floats) -> Floats:
        x = between(opening_deg, 0.0, 84.9)
        cell = np.searchsorted(knots, x, side="right") - 1
        return np.asarray(areas[rows, cell] + slopes[rows, cell] * (x - knots[cell]))

    return area


def _two_stage(car: Cars) -> Plate:
    """A linkage in two stages: the first tires as it opens, the second then opens the bore."""
    tire_deg = 22.0 + 2.0 * car.plate_shape_deg
    second_deg = 6.0 + 0.8 * car.wave_speed
    first_most = car.slope_mm2_deg * tire_deg
    rest = np.maximum(_most(car) - first_most, 0.0)

    def area(opening_deg: Floats) -> Floats:
        x = np.maximum(opening_deg, 0.0)
        first = first_most * (1.0 - np.exp(-x / tire_deg))
        share = between((x - second_deg) / (82.0 - second_deg), 0.0, 1.0)
        return first * _shape(car, x) + rest * share * np.sqrt(share)

    return area


PLATE_LAWS: dict[str, Callable[[Cars], Plate]] = {
    "A": _round, "B": _quadratic, "C": _progressive, "D": _tabulated, "E": _two_stage,
}  # fmt: skip


def _constant_bleed(car: Cars, difference_kpa: Floats) -> Floats:  # noqa: ARG001
    return car.bypass_mm2


def _sprung_bleed(car: Cars, difference_kpa: Floats) -> Floats:
    """A second bleed whose valve the pressure difference opens against a spring."""
    share = 0.1 + 1.5 * car.filling_dip
    drawn_open = np.tanh(np.maximum(difference_kpa, 0.0) / 40.0)
    return np.asarray(car.bypass_mm2 * (1.0 - share * (1.0 - drawn_open)))


#: Bypass and clearance at a pressure difference over the plate, per variant. [kPa] -> [mm²]
BLEEDS: dict[str, Callable[[Cars, Floats], Floats]] = {
    "A": _constant_bleed, "B": _constant_bleed, "C": _constant_bleed, "D": _constant_bleed,
    "E": _sprung_bleed,
}  # fmt: skip


def _fade_exponential(opening_deg: Floats, fade_deg: Floats) -> Floats:
    return np.exp(-opening_deg / fade_deg)


def _fade_rational(opening_deg: Floats, fade_deg: Floats) -> Floats:
    return 1.0 / (1.0 + (opening_deg / (1.2 * fade_deg)) ** 2)


def _fade_linear(opening_deg: Floats, fade_deg: Floats) -> Floats:
    return np.maximum(0.0, 1.0 - opening_deg / (2.0 * fade_deg))


def _fade_bell(opening_deg: Floats, fade_deg: Floats) -> Floats:
    return np.exp(-((opening_deg / (1.5 * fade_deg)) ** 2))


def _fade_ring(opening_deg: Floats, fade_deg: Floats) -> Floats:
    """A ring of soot counts whole until the plate's edge clears it."""
    return np.exp(-np.maximum(opening_deg / fade_deg - 0.4, 0.0))


#: Share of a deposit's area still lost at an opening, per variant.
FADES: dict[str, Callable[[Floats, Floats], Floats]] = {
    "A": _fade_exponential, "B": _fade_rational, "C": _fade_linear, "D": _fade_bell,
    "E": _fade_ring,
}  # fmt: skip
