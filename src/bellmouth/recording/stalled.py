"""Times at which a running engine came to a stand while its controller went on answering."""

from dataclasses import dataclass

import numpy as np

from bellmouth.recording.grid import OFF_RPM, RUNS_RPM
from bellmouth.recording.medians import median
from bellmouth.recording.series import Floats, Recording

__all__ = ["Stand", "stands", "stood_still"]

#: A shorter stand, or one that a single sample tells, is an answer that went wrong. [s]
_SHORTEST_S = 2.0
#: Samples of engine speed further apart than this do not show what happened between. [s]
_SEEN_S = 5.0
#: A stand at the end of a recording is that of somebody who switched off, unless it lasts. [s]
_SWITCHED_OFF_S = 10.0
#: Speed is that of so long before, but for the second in which it fell. [s]
_BEFORE_S, _FALLING_S = 6.0, 1.0
_SHOWN = 4
#: What is never nothing, whether an engine turns or stands.
_NEVER_NOTHING = ("intake_manifold_pressure", "barometric_pressure", "control_module_voltage")


@dataclass(frozen=True)
class Stand:
    """An engine that stands from ``at_s`` on and had turned at ``from_rpm``; ``again_s`` is when
    it ran again, None if it did not. [s], [rpm]"""

    at_s: float
    from_rpm: float
    again_s: float | None


def stands(recording: Recording) -> tuple[Stand, ...]:
    """Each time that the engine came to a stand, in order."""
    speed = recording.get("engine_speed")
    if speed is None:
        return ()
    time, rpm = speed.time_s, speed.value
    still = rpm < OFF_RPM
    found: list[Stand] = []
    begins = np.flatnonzero(still[1:] & ~still[:-1]) + 1
    place = 0
    for first in begins:
        if first < place:
            continue  # it rocked or was cranked before it ran again
        later = np.flatnonzero(rpm[first:] > RUNS_RPM)
        place = first + later[0] if later.size else rpm.size
        again = float(time[place]) if later.size else None
        lasts = (time[-1] if again is None else again) - time[first]
        least = _SHORTEST_S if later.size else _SWITCHED_OFF_S
        seen = time[first] - time[first - 1] <= _SEEN_S
        turned = _turned_at(time, rpm, float(time[first]))
        stood = lasts >= least and still[first:place].sum() > 1
        ends_s = float(time[min(place, time.size - 1)])
        answered = _answered(recording, float(time[first]), ends_s)
        if seen and stood and turned > RUNS_RPM and answered:
            found.append(Stand(float(time[first]), turned, again))
    return tuple(found)


def _answered(recording: Recording, from_s: float, to_s: float) -> bool:
    """Whether somebody answered all the while: what no engine shows says that a logger wrote
    nothing for want of an answer. [s]"""
    every = (recording.get(name) for name in _NEVER_NOTHING)
    return not any(
        (one.value[(one.time_s >= from_s) & (one.time_s < to_s)] <= 0).any() for one in every if one
    )


def _turned_at(time: Floats, rpm: Floats, at_s: float) -> float:
    """Speed at which the engine had turned before it fell. [rpm]"""
    before = rpm[(time >= at_s - _BEFORE_S) & (time < at_s - _FALLING_S)]
    return median(before) if before.size else 0.0


def stood_still(recording: Recording, complaint_told: bool = True) -> list[str]:
    """A sentence on it, if there is anything to tell. Whether an engine stalled or was switched
    off no recording shows."""
    found = stands(recording)
    if not found:
        return []
    first = found[0]
    tell = "." if complaint_told else ': give the complaint "stalls", which moves the weights.'
    if len(found) == 1:
        again = "" if first.again_s is None else f", and ran again at {first.again_s:.0f} s"
        return [
            f"The engine stood still at {first.at_s:.0f} s after {first.from_rpm:.0f} rpm{again}. "
            f"Was it switched off, by hand or by a stop-start system? If not, it stalled{tell}"
        ]
    times = ", ".join(f"{one.at_s:.0f}" for one in found[:_SHOWN])
    more = "" if len(found) <= _SHOWN else ", ..."
    return [
        f"The engine stood still {len(found)} times, at {times}{more} s. "
        f"Was it switched off, by hand or by a stop-start system? If not, it stalled{tell}"
    ]
