"""The pedal's presses in a recording: where it rests, where it is down, when it went and came."""

from dataclasses import dataclass

import numpy as np

from bellmouth.learning.consistency import SHORTEST_PRESS_S
from bellmouth.learning.evidence import Moment, Press
from bellmouth.recording.series import Floats, Recording, Series

__all__ = ["Pedal", "read_pedal"]

#: Parameters that show the pedal, best first, and the least travel that is a full press. [points]
_SIGNALS = {
    "accelerator_pedal_position_d": 40.0,
    "accelerator_pedal_position_e": 18.0,
    "accelerator_pedal_position_f": 18.0,
    "relative_accelerator_pedal_position": 40.0,
    "throttle_position": 40.0,
}
#: Shares of the travel: below the first the pedal is up, above the second it is down. A controller's
#: own thresholds are unknown, so the whole way between them is uncertainty.
_UP, _DOWN = 0.2, 0.8
#: A press whose deepest sample is below this is shallow; above ``_DOWN`` it is full.
_SHALLOW = 0.65
#: Held down, a sample below this has clearly been let up.
_EASED = 0.5
#: A foot that goes to the floor stays there this long at least, so closer samples see it. [s]
_DWELL_S = 0.12
#: Least movement that is a movement and not noise. [points]
_STIRRED = 6.0


@dataclass(frozen=True)
class Pedal:
    """The presses, the times of the samples, and sentences on how they were read."""

    presses: tuple[Press, ...]
    time_s: Floats
    notes: tuple[str, ...] = ()


def read_pedal(recording: Recording) -> Pedal | None:
    """The presses in a recording, on its file's clock; None where no signal shows the pedal."""
    found = next((recording.series[name] for name in _SIGNALS if name in recording), None)
    if found is None or found.time_s.size < 2:
        return None
    notes = _notes(found)
    time = found.time_s + recording.begins_s
    rest, floor = _extent(found.value)
    if floor - rest < _STIRRED:
        return Pedal((), time, (*notes, "The pedal never moved."))
    sure = floor - rest >= _SIGNALS[found.name]
    if not sure:
        notes = (
            *notes,
            f"The pedal moved from {rest:.0f} to {floor:.0f} % at most; whether that is the floor, "
            "this recording cannot say.",
        )
    share = (found.value - rest) / (floor - rest)
    return Pedal(_presses(time, share, sure=sure), time, notes)


def _notes(found: Series) -> tuple[str, ...]:
    if found.name == "throttle_position":
        return (
            "The pedal is not recorded; throttle_position stands for it, which follows the pedal "
            "poorly.",
        )
    return ()


def _extent(value: Floats) -> tuple[float, float]:
    """Rest and floor, each by the third sample from the end: one stray sample moves neither."""
    place = min(2, (value.size - 1) // 2)
    ordered = np.partition(value, (place, value.size - 1 - place))
    return float(ordered[place]), float(ordered[-1 - place])


def _presses(time: Floats, share: Floats, *, sure: bool) -> tuple[Press, ...]:
    away = share >= _UP
    edges = np.flatnonzero(np.diff(away)) + 1
    starts = [0, *edges.tolist()] if away[0] else edges.tolist()
    if away[-1]:
        starts.append(away.size)
    return tuple(
        _press(time, share, first, stop, sure=sure)
        for first, stop in zip(starts[::2], starts[1::2], strict=True)
    )


def _press(time: Floats, share: Floats, first: int, stop: int, *, sure: bool) -> Press:
    """One run of samples ``first`` to ``stop`` away from rest."""
    inside = share[first:stop]
    deepest = float(inside.max())
    down = np.flatnonzero(inside >= min(_DOWN, deepest))
    reached, left = first + int(down[0]), first + int(down[-1])
    before = float(time[first - 1]) if first else -np.inf
    after = float(time[stop]) if stop < time.size else np.inf
    depth = _depth(time, share, first, stop, deepest) if sure else "unsure"
    lowest = float(share[reached : left + 1].min())
    held = "down" if lowest >= _DOWN or deepest < _DOWN else "eased" if lowest < _EASED else "unsure"
    return Press(
        Moment(before, float(time[reached])), Moment(float(time[left]), after), depth, held
    )


def _depth(time: Floats, share: Floats, first: int, stop: int, deepest: float) -> str:
    if deepest >= _DOWN:
        return "full"
    if deepest >= _SHALLOW:
        return "unsure"
    # Between samples further apart than a foot stays on the floor, it may have been there.
    around = time[max(first - 1, 0) : stop + 1]
    seen = float(np.diff(around).max()) <= _DWELL_S if around.size > 1 else False
    many = int(np.count_nonzero(share[first:stop] > 0.8 * deepest)) > 1
    wide = float(np.diff(around).max()) > SHORTEST_PRESS_S if around.size > 1 else True
    return "shallow" if seen or (many and not wide) else "unsure"
