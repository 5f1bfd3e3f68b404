"""Who sits in the practice car: a foot that holds an engine speed or follows a road speed."""

from dataclasses import dataclass

import numpy as np

from bellmouth.practice.cars import Cars
from bellmouth.practice.columns import Floats, between

__all__ = ["Driver", "DriverOutput"]

Flags = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
_FULL_DEG = 78.0


@dataclass(frozen=True)
class DriverOutput:
    """Pedal as opening asked for beyond idle [deg], and the driveline's speed and grip."""

    pedal_deg: Floats
    pull_rpm: Floats
    pull_per_s: Floats


class Driver:
    """Pedal, gears and road of many cars.

    ``road_kmh`` is the car's own speed. The driveline is a grip that draws engine speed to the
    gearing's; grip and load are those of a car of 75 kg per litre of engine per tonne, roughly:
    enough to make loads, not a vehicle model. The pedal's unit is the opening that makes up a car's
    idle air, so that small and large plates are driven alike.
    """

    def __init__(self, car: Cars, habits: Floats) -> None:
        n = len(car)
        self.car = car
        self.road_kmh = np.zeros(n)
        self._pedal_deg = np.zeros(n)
        self._integral = np.zeros(n)
        self._area_deg = car.idle_airflow_g_s / 0.2362 / car.slope_mm2_deg
        self._gears = np.array([115.0, 66.0, 46.0, 36.0, 29.0]) * (0.85 + 0.3 * habits[:, :1])
        self._gear = np.zeros(n, dtype=np.intp)
        self._mass_kg = 850.0 + 320.0 * car.displacement_l
        self._steadiness = 0.5 + habits[:, 1]
        self._wander = np.zeros(n)

    def step(
        self, dt_s: float, held_rpm: Floats, road_kmh: Floats, speed_rpm: Floats, noise: Floats
    ) -> DriverOutput:
        """Move foot and car on; wanted speeds of 0 mean pedal up and standing."""
        holding, driving = held_rpm > 0, (road_kmh > 0.5) | (self.road_kmh > 0.3)
        self._wander = self._wander * 0.998 + noise * 0.0008 * self._steadiness
        wanted = np.zeros_like(speed_rpm)
        if holding.any():
            wanted = np.where(holding, self._hold(dt_s, held_rpm, speed_rpm), wanted)
        if driving.any():
            wanted = np.where(driving, self._follow(road_kmh), wanted)
        wanted = between(wanted, 0.0, _FULL_DEG)
        self._integral = np.where(holding, self._integral, 0.0)
        # A foot moves the pedal in about a third of a second.
        self._pedal_deg = self._pedal_deg + (wanted - self._pedal_deg) * (dt_s / (0.25 + dt_s))
        pedal = np.where(self._pedal_deg < 0.03 * self._area_deg, 0.0, self._pedal_deg)
        if not driving.any():
            return DriverOutput(pedal, speed_rpm, np.zeros_like(speed_rpm))
        pull_rpm, grip = self._drive(dt_s, road_kmh, speed_rpm, pedal, driving)
        return DriverOutput(pedal, pull_rpm, grip)

    def _hold(self, dt_s: float, held_rpm: Floats, speed_rpm: Floats) -> Floats:
        relative = between(held_rpm * (1.0 + self._wander) / np.maximum(speed_rpm, 300) - 1, -1, 1)
        ahead = held_rpm / self.car.idle_speed_rpm - 1.0
        limit = 1.5 * ahead * self._area_deg
        moved = self._integral + dt_s * 0.5 * self._area_deg * relative
        self._integral = between(moved, -limit, limit)
        return self._area_deg * (0.7 * ahead + 0.5 * relative) + self._integral

    def _follow(self, road_kmh: Floats) -> Floats:
        """Pedal for the torque that speed, slope of speed and drag ask for."""
        behind = between(road_kmh - self.road_kmh, -8.0, 12.0)
        demand = 0.10 * behind + 0.0016 * self.road_kmh + 5.5e-5 * self.road_kmh**2
        wanted = np.where(road_kmh < 0.5, 0.0, demand)
        return self._area_deg * 6.0 * between(wanted, 0.0, 1.0) ** 1.15

    def _drive(
        self, dt_s: float, road_kmh: Floats, speed_rpm: Floats, pedal_deg: Floats,
        driving: Flags,
    ) -> tuple[Floats, Floats]:  # fmt: skip
        rows = np.arange(len(speed_rpm))
        ratio = self._gears[rows, self._gear]
        geared = self.road_kmh * ratio
        up = (geared > 2350.0 + 900.0 * (pedal_deg > 3.0 * self._area_deg)) & (self._gear < 4)
        down = (geared < 1150.0) & (self._gear > 0)
        self._gear = self._gear + up - down
        floor = self.car.idle_speed_rpm + 300.0
        # The clutch slips below walking pace; a foot off the pedal lets it go near idle speed.
        slipping = geared < floor
        pull = np.where(slipping, np.where(pedal_deg > 0, floor, speed_rpm), geared)
        grip = np.where(slipping, np.where(pedal_deg > 0, 8.0, 0.0), 40.0) * driving
        self._roll(dt_s, road_kmh, speed_rpm, pull, grip * self.car.inertia_kg_m2, ratio)
        return pull, grip

    def _roll(
        self, dt_s: float, road_kmh: Floats, speed_rpm: Floats, pull_rpm: Floats, grip: Floats,
        ratio: Floats,
    ) -> None:  # fmt: skip
        torque_nm = grip * (speed_rpm - pull_rpm) * np.pi / 30.0
        # A slipping clutch only ever drives the car.
        torque_nm = np.where(
            self.road_kmh * ratio < pull_rpm - 1.0, np.maximum(torque_nm, 0.0), torque_nm
        )
        metres_per_turn = 1000.0 / 60.0 / ratio
        force = between(torque_nm * 2.0 * np.pi / metres_per_turn, -3000.0, 9000.0)
        speed = self.road_kmh / 3.6
        drag = np.where(speed > 0.1, 0.012 * 9.81 * self._mass_kg + 0.42 * speed**2, 0.0)
        braking = between(self.road_kmh - road_kmh - 3.0, 0.0, 12.0) * 0.25
        change = (force - drag) / self._mass_kg - braking
        self.road_kmh = np.maximum(self.road_kmh + 3.6 * dt_s * change, 0.0)
