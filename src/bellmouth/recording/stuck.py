"""Sensors that never moved although the engine's speed did: they say nothing of the engine."""

from dataclasses import replace

import numpy as np

from bellmouth.recording.grid import RUNS_RPM
from bellmouth.recording.series import Recording, Series

__all__ = ["METERS", "PRESSURES", "is_left_out", "is_stuck", "without_stuck"]

# A parameter that never moved is stuck when it had this many chances and speed changed so much.
_SAMPLES = 10
_SPEED_RANGE = 0.2
# So many samples of speed at either end may be astray. Where air passes beside the plate at idle,
# the plate stands while the engine starts and warms up: what moves it is a foot, for so long.
_ASTRAY = 2
_HELD_RANGE, _HELD = 0.4, 0.1
# A pressure that stands there may be that of a diesel, which is refused from there on. [kPa]
_UNTHROTTLED_KPA = 80.0
_PLATE = "throttle_position"
METERS = (
    "mass_air_flow",
    "mass_air_flow_sensor_a_extended",
    "mass_air_flow_sensor_b_extended",
)
PRESSURES = ("intake_manifold_pressure", "intake_manifold_pressure_a_extended")
# Air follows engine speed. Stuck, each of these would look like a fault of the engine.
_AIR = (*METERS, *PRESSURES, "calculated_load", "absolute_load", _PLATE)
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
    if series.name == _PLATE:
        rpm = rpm[rpm > RUNS_RPM]
        if not rpm.size:
            return False
        low, high = np.quantile(rpm, (_HELD, 1 - _HELD))
        return bool(high - low > _HELD_RANGE * high)
    rpm = np.sort(rpm)[_ASTRAY : rpm.size - _ASTRAY]
    return bool(rpm.size > 1 and rpm[-1] - rpm[0] > _SPEED_RANGE * rpm[-1])


def is_left_out(recording: Recording, series: Series) -> bool:
    """Whether a parameter is stuck, and left out of every judgement for that.

    What reads like no air at all, or like an engine without a throttle, stays: that is said of it.
    """
    if series.name not in _AIR or not is_stuck(recording, series):
        return False
    level = float(series.value[0])
    if series.name in PRESSURES:
        return level < _UNTHROTTLED_KPA
    return level > 0.0 or series.name not in METERS


def without_stuck(recording: Recording) -> Recording:
    """The recording without what says nothing of the engine; as it is where all of it moves."""
    dead = {name for name, one in recording.series.items() if is_left_out(recording, one)}
    if dead & set(METERS[1:]):  # one of two is half of an engine
        dead |= set(METERS[1:])
    moving = {name: one for name, one in recording.series.items() if name not in dead}
    return recording if len(moving) == len(recording.series) else replace(recording, series=moving)
