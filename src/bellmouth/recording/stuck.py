"""Sensors that never moved although the engine's speed did: they say nothing of the engine."""

from dataclasses import replace

import numpy as np

from bellmouth.recording.grid import OFF_RPM
from bellmouth.recording.series import Recording, Series

__all__ = ["is_left_out", "is_stuck", "without_stuck"]

# A parameter that never moved is stuck when it had this many chances and speed changed so much.
_SAMPLES = 10
_SPEED_RANGE = 0.2
# A pressure that stands there may be that of a diesel, which is refused. [kPa]
_UNTHROTTLED_KPA = 70.0
_PLATE = "throttle_position"
_METERS = (
    "mass_air_flow",
    "mass_air_flow_sensor_a_extended",
    "mass_air_flow_sensor_b_extended",
)
_PRESSURES = ("intake_manifold_pressure", "intake_manifold_pressure_a_extended")
# Air follows engine speed. Stuck, each of these would look like a fault of the engine.
_AIR = (*_METERS, *_PRESSURES, "calculated_load", "absolute_load", _PLATE)
# A quick trim that never moves is not working or not in closed loop; what lasts is in the long.
_MOVES = (*_AIR, "short_term_fuel_trim_bank_1", "short_term_fuel_trim_bank_2")


def is_stuck(recording: Recording, series: Series) -> bool:
    """Never moved although engine speed did, from this parameter's first to its last sample."""
    if series.name not in _MOVES or series.value.size < _SAMPLES or np.ptp(series.value) > 0:
        return False
    speed = recording.get("engine_speed")
    if speed is None:
        return False
    during = (speed.time_s >= series.time_s[0]) & (speed.time_s <= series.time_s[-1])
    rpm = speed.value[during]
    if series.name == _PLATE:  # with the key on it may well stand where it idles
        rpm = rpm[rpm > OFF_RPM]
    return bool(rpm.size > 1 and np.ptp(rpm) > _SPEED_RANGE * rpm.max())


def is_left_out(recording: Recording, series: Series) -> bool:
    """Whether a parameter is stuck, and left out of every judgement for that.

    What reads like no air at all, or like an engine without a throttle, stays: that is said of it.
    """
    if series.name not in _AIR or not is_stuck(recording, series):
        return False
    level = float(series.value[0])
    if series.name in _PRESSURES:
        return level < _UNTHROTTLED_KPA
    return level > 0.0 or series.name not in _METERS


def without_stuck(recording: Recording) -> Recording:
    """The recording without what says nothing of the engine; as it is where all of it moves."""
    moving = {
        name: series
        for name, series in recording.series.items()
        if not is_left_out(recording, series)
    }
    return recording if len(moving) == len(recording.series) else replace(recording, series=moving)
