"""The practice engine's air and crank: manifold filling, plate actuator, heating, speed.

Mean values over a working cycle, stepped in time; no steady state is solved for anywhere. The
manifold is semi-implicit, because it is stiff when the plate is wide open. It does not imitate
pulsation, single cylinders, exhaust gas recirculation or knock.
"""

from dataclasses import dataclass

import numpy as np

from bellmouth.physics.air import R_DRY
from bellmouth.physics.orifice import flow_function
from bellmouth.practice.cars import HEAT_PER_GRAM, Cars, spark_factor
from bellmouth.practice.columns import Floats, between
from bellmouth.practice.faults import Faults, Weather
from bellmouth.practice.laws import (
    BLEEDS,
    FADES,
    FILLING_LAWS,
    PLATE_LAWS,
    filling_waves,
    heating_k,
)

__all__ = ["Engine", "Flows"]

_R = R_DRY / 1000.0  # kPa L / (g K)
_REGULAR = 0.99  # above this pressure ratio flow falls linearly, so that steps stay stable
_RPM_PER_RAD_S = 30.0 / np.pi


def _signed_flow(
    area_mm2: Floats, upstream_kpa: Floats, upstream_k: Floats, down_kpa: Floats
) -> Floats:
    """Flow through an opening either way. [mm²], [kPa], [K] -> [g/s]"""
    ratio = down_kpa / upstream_kpa
    low = np.minimum(ratio, 1.0 / ratio)
    psi = flow_function(np.minimum(low, _REGULAR))
    psi = psi * between((1.0 - low) / (1.0 - _REGULAR), 0.0, 1.0)
    highest = np.maximum(upstream_kpa, down_kpa)
    return np.asarray(np.sign(1.0 - ratio) * area_mm2 * highest * psi / np.sqrt(R_DRY * upstream_k))


@dataclass(frozen=True)
class Flows:
    """Mass flows of one step. [g/s]"""

    throttle: Floats
    leak: Floats
    purge: Floats
    cylinder: Floats


class Engine:
    """State of many engines of one variant; :meth:`step` moves all of them on by ``dt_s``.

    Attributes
    ----------
    pressure_kpa, speed_rpm, opening_deg, charge_k, boost_kpa
        Manifold pressure, engine speed, plate opening above its stop, charge temperature and
        pressure before the plate.
    """

    def __init__(self, car: Cars, fault: Faults, weather: Weather, variant: str) -> None:
        self.car, self.fault, self.weather = car, fault, weather
        self.filling = FILLING_LAWS[variant](car)
        self._plate = PLATE_LAWS[variant](car)
        self._fade = FADES[variant]
        self._bleed = BLEEDS[variant]
        self.ambient_kpa = weather.barometric_kpa
        self.ambient_k = weather.ambient_c + 273.15
        self.pressure_kpa = car.idle_kpa.copy()
        self.speed_rpm = car.idle_speed_rpm.copy()
        self.opening_deg = car.idle_opening_deg.copy()
        self.intake_k = self.ambient_k + weather.soak_k
        self.charge_k = self.intake_k + car.heating_k
        self.boost_kpa = self.ambient_kpa.copy()
        self.coolant_c = weather.coolant_c.copy()
        self._indicated_kpa = np.zeros(len(car))
        self._rough = np.zeros(len(car))
        idle = car.idle_airflow_g_s
        self.flows = Flows(idle, 0 * idle, 0 * idle, idle)

    def area_mm2(self, opening_deg: Floats, *, clean: bool = False) -> Floats:
        """Effective area past the plate: plate and bypass, less deposit. [deg] -> [mm²]

        A bypass that moves is as the present pressure difference has it.
        """
        bleed = self._bleed(self.car, self.boost_kpa - self.pressure_kpa)
        without = self._plate(opening_deg) + bleed
        if clean:
            return without
        lost = self.fault.deposit_mm2 * self._fade(np.maximum(opening_deg, 0.0), self.car.fade_deg)
        # Soot never seals the plate: a tenth of the clean gap remains.
        return np.asarray(np.maximum(without - lost, 0.1 * without))

    def cylinder_g_s(self, pressure_kpa: Floats, charge_k: Floats) -> Floats:
        """Air drawn by the cylinders at this manifold state and the present speed. [g/s]"""
        ve = self.filling(pressure_kpa, np.maximum(self.speed_rpm, 150.0), self.ambient_kpa + 1.0)
        ve = ve * filling_waves(self.car, pressure_kpa, np.maximum(self.speed_rpm, 150.0))
        swept = self.car.displacement_l * self.speed_rpm / 120.0
        return np.asarray(ve * pressure_kpa * swept / (_R * charge_k))

    def step(
        self, dt_s: float, commanded_deg: Floats, purge: Floats, crank: "Crank", noise: Floats
    ) -> Flows:
        """Move on by ``dt_s`` with this plate command and crank loads; ``noise`` is unit normal."""
        self._move_plate(dt_s, commanded_deg)
        self._breathe(dt_s, purge)
        self._warm(dt_s)
        self._turn(dt_s, crank, noise)
        return self.flows

    def _move_plate(self, dt_s: float, commanded_deg: Floats) -> None:
        wanted = (commanded_deg - self.opening_deg) * (dt_s / (0.05 + dt_s))
        self.opening_deg = np.maximum(self.opening_deg + wanted, 0.0)

    def _breathe(self, dt_s: float, purge: Floats) -> None:
        p, car = self.pressure_kpa, self.car
        area = self.area_mm2(self.opening_deg)
        throttle = _signed_flow(area, self.boost_kpa, self.intake_k, p)
        holes = _signed_flow(np.ones_like(p), self.ambient_kpa, self.ambient_k, p)
        leak, purged = self.fault.leak_mm2 * holes, car.purge_mm2 * purge * holes
        purged = np.maximum(purged, 0.0)
        cylinder = self.cylinder_g_s(p, self.charge_k)
        gain = _R * self.charge_k / car.manifold_l
        # Slopes of outflow and of unchoked inflow against pressure, for the implicit half.
        slope = 1.3 * cylinder / p + np.where(
            p > 0.528 * self.boost_kpa,
            0.5 * np.abs(throttle) / np.maximum(np.abs(self.boost_kpa - p), 0.5), 0.0,
        )  # fmt: skip
        rate = gain * (throttle + leak + purged - cylinder)
        moved = p + dt_s * rate / (1.0 + dt_s * gain * slope)
        self.pressure_kpa = between(moved, 4.0, 260.0)
        self.flows = Flows(throttle, leak, purged, cylinder)
        self._charge_up(dt_s, throttle)

    def _charge_up(self, dt_s: float, throttle: Floats) -> None:
        """Pressure before the plate: airbox loss, and the compressor where there is one."""
        per_litre = np.maximum(throttle, 0.0) / self.car.displacement_l
        loss = self.car.airbox_kpa * (per_litre / 30.0) ** 2
        boost = self.car.turbo * 55.0 * between((per_litre - 5.0) / 18.0, 0.0, 1.0)
        wanted = self.ambient_kpa - loss + boost
        lag = np.where(self.car.turbo > 0, 0.7, 0.05)
        self.boost_kpa = self.boost_kpa + (wanted - self.boost_kpa) * (dt_s / (lag + dt_s))

    def _warm(self, dt_s: float) -> None:
        flow = np.maximum(self.flows.throttle, 0.0)
        relative = flow / self.car.idle_airflow_g_s
        soak = self.weather.soak_k * 1.3 / (1.0 + 0.3 * relative)
        self.intake_k = self.intake_k + (self.ambient_k + soak - self.intake_k) * (dt_s / 25.0)
        hot = between((self.coolant_c - self.weather.ambient_c) / 65.0, 0.0, 1.2)
        wanted = self.intake_k + hot * heating_k(self.car, flow)
        self.charge_k = self.charge_k + (wanted - self.charge_k) * (dt_s / 4.0)
        warming = np.where(self.speed_rpm > 300.0, (92.0 - self.coolant_c) / 260.0, 0.0)
        self.coolant_c = self.coolant_c + np.maximum(warming, 0.0) * dt_s

    def _turn(self, dt_s: float, crank: "Crank", noise: Floats) -> None:
        car = self.car
        speed = self.speed_rpm
        per_cycle = self.flows.cylinder * 120.0 / np.maximum(speed, 100.0) / car.displacement_l
        self._rough = self._rough * 0.9 + noise * (0.44 * crank.roughness)
        burnt = crank.mixture * spark_factor(car.best_spark_deg - crank.spark_deg)
        gross = car.efficiency * HEAT_PER_GRAM * per_cycle * burnt * (1.0 + self._rough)
        # A charge works about three quarters of a cycle after it was drawn in.
        lag = 90.0 / np.maximum(speed, 200.0)
        self._indicated_kpa += (gross - self._indicated_kpa) * (dt_s / (lag + dt_s))
        thousand = speed / 1000.0
        cold = 1.0 + np.maximum(80.0 - self.coolant_c, 0.0) * 0.012
        friction = car.friction_kpa * cold + car.friction_speed_kpa * thousand
        friction = friction + 1.2 * thousand * thousand
        pumping = self.ambient_kpa - self.pressure_kpa
        net = self._indicated_kpa - friction - pumping - crank.load_kpa
        torque = net * car.displacement_l / (4.0 * np.pi) + crank.torque_nm
        moved = speed + dt_s * _RPM_PER_RAD_S * torque / car.inertia_kg_m2
        moved = (moved + dt_s * crank.pull_per_s * crank.pull_rpm) / (1.0 + dt_s * crank.pull_per_s)
        self.speed_rpm = np.where(crank.turning, between(moved, 60.0, 7000.0), 0.0)


@dataclass(frozen=True)
class Crank:
    """What acts on the crank in a step.

    ``mixture`` is the torque left by the mixture (0 without fuel), ``load_kpa`` accessories,
    ``torque_nm`` a starter, ``pull_rpm`` and ``pull_per_s`` the driveline's speed and grip,
    ``turning`` whether the engine may turn at all.
    """

    mixture: Floats
    spark_deg: Floats
    load_kpa: Floats
    torque_nm: Floats
    pull_rpm: Floats
    pull_per_s: Floats
    turning: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    roughness: Floats
