"""Parameters that stand in for one that a car does not report: the extended ones of 66 and 87."""

from dataclasses import replace

import numpy as np

from bellmouth.recording.quantum import quantum
from bellmouth.recording.series import Recording, Series

__all__ = ["with_stand_ins"]

_FLOW, _PRESSURE = "mass_air_flow", "intake_manifold_pressure"
_METERS = ("mass_air_flow_sensor_a_extended", "mass_air_flow_sensor_b_extended")
_EXTENDED_PRESSURE = "intake_manifold_pressure_a_extended"
# A second meter's reading counts as long as this after it. [s]
_HOLDS_S = 5.0


def with_stand_ins(recording: Recording) -> Recording:
    """The recording with ``mass_air_flow`` and ``intake_manifold_pressure`` where only extended
    parameters tell them; as it is where neither is wanting, or nothing stands in."""
    found = dict(recording.series)
    flow, pressure = _metered(recording), recording.get(_EXTENDED_PRESSURE)
    if _FLOW not in recording and flow is not None:
        found[_FLOW] = flow
    if _PRESSURE not in recording and pressure is not None:
        found[_PRESSURE] = replace(pressure, name=_PRESSURE, step=quantum(pressure))
    return recording if len(found) == len(recording.series) else replace(recording, series=found)


def _metered(recording: Recording) -> Series | None:
    """What both meters read of an engine that draws through two, or its one; None without."""
    first, second = (recording.get(name) for name in _METERS)
    if first is None:
        return None  # a second meter alone is half of an engine
    if second is None:
        return replace(first, name=_FLOW, step=quantum(first))
    # Both are of one reply; elsewhere the last reading holds, which keeps the steps of both.
    before = np.searchsorted(second.time_s, first.time_s, side="right") - 1
    before = np.maximum(before, 0)
    near = np.abs(first.time_s - second.time_s[before]) <= _HOLDS_S
    if not near.any():
        return None
    value = first.value[near] + second.value[before[near]]
    step = float(np.hypot(quantum(first), quantum(second)))
    return Series(_FLOW, first.unit, first.time_s[near], value, step)
