"""The 306 steady points of a real engine, as operating points that the finding can judge."""

import csv
from pathlib import Path

import numpy as np

from bellmouth.car.description import Car, Known
from bellmouth.recording.stretch import Reading, Stretch

__all__ = ["MAP_CAR", "subsets", "throttled_points"]

#: What an owner would know of that engine.
MAP_CAR = Car(Known(2.0), "airflow", cylinders=4, banks=1, turbocharged=True, source="map")
#: Standard error and quantum of a reading of twenty seconds, as a car's own sensors have them.
_ERRORS = {
    "engine_speed": (2.0, 0.25),
    "mass_air_flow": (0.003, 0.01),  # share of the reading
    "intake_manifold_pressure": (0.2, 0.0),
    "boost_pressure": (0.2, 0.0),
    "throttle_position": (0.1, 0.39),
    "intake_air_temperature": (0.3, 1.0),
    "barometric_pressure": (0.29, 1.0),
}
_COLUMNS = {
    "engine_speed": ("engine_speed [rpm]", 1.0),
    "mass_air_flow": ("mass_air_flow [g/s]", 1.0),
    "intake_manifold_pressure": ("intake_manifold_pressure [kPa]", 1.0),
    "boost_pressure": ("pressure_before_throttle [kPa]", 1.0),
    "throttle_position": ("throttle_position [1]", 100.0),
    "intake_air_temperature": ("temperature_before_throttle [degC]", 1.0),
}
_AMBIENT_KPA = 101.3
_SECONDS = 20.0


def throttled_points(path: Path) -> list[Stretch]:
    """Points whose manifold stands below the outside, as stretches of a drive."""
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    manifold = _COLUMNS["intake_manifold_pressure"][0]
    kept = [one for one in rows if float(one[manifold]) < 0.97 * _AMBIENT_KPA]
    return [_stretch(one, number) for number, one in enumerate(kept)]


def _stretch(cells: dict[str, str], number: int) -> Stretch:
    values = {name: factor * float(cells[head]) for name, (head, factor) in _COLUMNS.items()}
    values["barometric_pressure"] = _AMBIENT_KPA
    readings = {}
    for name, value in values.items():
        error, quantum = _ERRORS[name]
        error = error * value if name == "mass_air_flow" else error
        readings[name] = Reading(
            value, float(np.hypot(error, quantum / 12**0.5)), 3 * error, 60, 20.0, quantum
        )
    start = number * _SECONDS
    return Stretch("drive", start, start + _SECONDS, readings, True, None)


def subsets(points: list[Stretch], count: int, each: int, seed: int = 3) -> list[list[Stretch]]:
    """Draws of a few points at ordinary loads and speeds, as a short drive would hold."""
    usual = [
        one for one in points
        if one.value("intake_manifold_pressure") < 75 and one.value("engine_speed") < 3300
    ]  # fmt: skip
    rng = np.random.default_rng(seed)
    return [[usual[i] for i in rng.choice(len(usual), each, replace=False)] for _ in range(count)]
