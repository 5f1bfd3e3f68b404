"""Stretches made from closed-form physics, independent of the finding's own model."""

import numpy as np

from bellmouth.car.description import Car, Known, Metering
from bellmouth.finding.case import Case
from bellmouth.finding.infer import SideLog
from bellmouth.physics import orifice
from bellmouth.recording.stretch import Reading, Stretch

SPEEDS = ((705.0, 33.0, "idle"), (1500.0, 30.0, "held"), (2500.0, 31.0, "held"))
AMBIENT_KPA = 100.0
INTAKE_K = 303.15
R = 287.05


def reading(value: float, standard_error: float, at_limit: int = 0) -> Reading:
    return Reading(value, standard_error, 3 * standard_error, 30, 9.0, 0.0, at_limit=at_limit)


def car(metering: Metering = "airflow", **known: object) -> Car:
    return Car(Known(2.0), metering, cylinders=4, banks=1, idle_rpm=Known(700.0), **known)  # type: ignore[arg-type]


def stretches(
    *,
    leak_mm: float = 0.0,
    meter: float = 1.0,
    fuel: float = 1.0,
    deposit_mm2: float = 0.0,
    pressure: float = 1.0,
    idle_up_rpm: float = 0.0,
    metering: Metering = "airflow",
    manifold: bool = True,
    trims: bool = True,
    trim_limit: float | None = None,
) -> tuple[Stretch, ...]:
    """A warm 2.0 l engine at idle, 1,500 and 2,500 rpm with the faults asked for."""
    made = []
    for start, (rpm, kpa, kind) in enumerate(SPEEDS):
        speed = rpm + (idle_up_rpm if kind == "idle" else 0.0)
        filling = 0.60 * (1.0 + 0.06 * (rpm - 700.0) / 1800.0)
        true = filling * 2e-3 * speed / 120.0 * kpa * 1e3 / (R * INTAKE_K) * 1e3
        area = np.pi / 4 * (leak_mm * 1e-3) ** 2 * 0.8
        leak = float(orifice.mass_flow_kg_s(area, AMBIENT_KPA * 1e3, kpa * 1e3, INTAKE_K)) * 1e3
        passed = true - leak
        needed = passed / 1e3 / float(orifice.mass_flow_kg_s(1e-6, 1e5, kpa * 1e3, INTAKE_K))
        opening = max((needed - 2.5) / 3.0, 0.05)
        for _ in range(40):
            lost = deposit_mm2 * np.exp(-opening / 6.0)
            opening = max((needed + lost - 2.5) / 3.0, 0.05)
        metered = passed * meter if metering == "airflow" else true * meter
        trim = np.log((true / metered) / fuel)
        limit = 0
        if trim_limit is not None and trim > trim_limit:
            trim, limit = trim_limit, 1
        readings = {
            "engine_speed": reading(speed, 2.0),
            "throttle_position": reading(12.0 + opening / 0.87 * 1.0, 0.05),
            "intake_air_temperature": reading(INTAKE_K - 273.15, 0.5),
            "barometric_pressure": reading(AMBIENT_KPA, 0.29),
        }
        if metering == "airflow":
            readings["mass_air_flow"] = reading(metered, 0.004 * metered)
        if manifold or metering == "pressure":
            readings["intake_manifold_pressure"] = reading(kpa * pressure, 0.15)
        if trims:
            readings["log_total_trim_bank_1"] = reading(float(trim), 0.004, limit)
        made.append(Stretch(kind, 30.0 * start, 30.0 * start + 25.0, readings, True, None))  # type: ignore[arg-type]
    return tuple(made)


def sides_of(case: Case) -> list[SideLog]:
    """Whatever bears on a case without being Gaussian, as the case itself names it."""
    every = (case.idle, case.air, case.plate, case.key_on, case.load, case.beside, case.level)
    return [side for side in every if side is not None]
