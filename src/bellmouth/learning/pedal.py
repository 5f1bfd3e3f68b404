"""The pedal's presses in a recording: where it rests, where it is down, when it went and came."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bellmouth.learning.consistency import SHORTEST_PRESS_S
from bellmouth.learning.evidence import Moment, Press
from bellmouth.recording.series import Floats, Recording, Series

__all__ = ["HELD_S", "PEDAL_SIGNALS", "Pedal", "read_pedal"]

#: Parameters that show the pedal, best first, and the least travel that is a full press: below it a
#: foot that went four fifths of the usual way would pass for the floor. A guess. [points]
PEDAL_SIGNALS = {
    "accelerator_pedal_position_d": 55.0,
    "accelerator_pedal_position_e": 25.0,
    "accelerator_pedal_position_f": 25.0,
    "relative_accelerator_pedal_position": 55.0,
    "throttle_position": 55.0,
}
#: Shares of the travel: below the first the pedal is up, above the second it is down. Where between
#: them a controller draws its line is unknown, so the whole way is uncertainty.
_UP, _DOWN = 0.2, 0.8
#: Above this share the foot touches the pedal.
_TOUCHED = 0.04
#: A press whose deepest sample is below this is shallow; above ``_DOWN`` it is full.
_SHALLOW = 0.65
#: Held down, a sample below this has clearly been let up.
_EASED = 0.5
#: How much of what a steady pace would narrow is believed; feet are not machines.
_STEADY = 0.75
#: A foot that goes to the floor stays there this long at least, so closer samples see it. [s]
_DWELL_S = 0.12
#: Down for longer, it is no press of a row. [s]
HELD_S = 1.5
#: Least movement that is a movement and not noise. [points]
_STIRRED = 6.0


@dataclass(frozen=True)
class Pedal:
    """The presses, the times of the samples, lighter touches, and how they were read.

    ``leans`` says what counts as the floor, for whoever asks for presses to it.
    """

    presses: tuple[Press, ...]
    time_s: Floats
    notes: tuple[str, ...] = ()
    touches: tuple[Press, ...] = ()
    leans: tuple[str, ...] = ()


def read_pedal(recording: Recording, *, to_the_floor: bool | None = None) -> Pedal | None:
    """The presses in a recording, on its file's clock; None where no signal shows the pedal.

    ``to_the_floor`` is what a person says of the deepest of them, None where nobody does.
    """
    found = next((recording.series[name] for name in PEDAL_SIGNALS if name in recording), None)
    if found is None or found.time_s.size < 2:
        return None
    notes = _notes(found)
    time = found.time_s + recording.begins_s
    rest, floor = _extent(found.value)
    if floor - rest < _STIRRED:
        return Pedal((), time, (*notes, "The pedal never moved."))
    sure = floor - rest >= PEDAL_SIGNALS[found.name] if to_the_floor is None else to_the_floor
    leans = () if to_the_floor is not None else (_leans(rest, floor, sure=sure),)
    share = (found.value - rest) / (floor - rest)
    presses = tuple(_presses(time, share, sure=sure))
    return Pedal(presses, time, notes, tuple(_touches(time, share)), leans)


def _leans(rest: float, floor: float, *, sure: bool) -> str:
    if sure:
        return (
            f"The deepest press in this recording, {floor:.0f} % (at rest {rest:.0f} %), counts as "
            "the floor. If that foot never went all the way, the car may have taken none of the "
            "presses."
        )
    return (
        f"The pedal moved from {rest:.0f} to {floor:.0f} % at most; whether that is the floor, "
        'this recording cannot say. If somebody saw that it was, mark "to_the_floor": true.'
    )


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


def _runs(away: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First sample of each run of true ones, and the one after its last."""
    edges = np.flatnonzero(np.diff(away)) + 1
    starts = [0, *edges.tolist()] if away[0] else edges.tolist()
    if away[-1]:
        starts.append(away.size)
    return list(zip(starts[::2], starts[1::2], strict=True))


def _presses(time: Floats, share: Floats, *, sure: bool) -> Iterator[Press]:
    """Each run of samples away from rest, without what no foot does."""
    found: list[tuple[int, int, bool]] = []
    for first, stop in _runs(share >= _UP):
        last = found[-1] if found else None
        if last is not None and _is_blink(time, last[:2], (first, stop)):
            found[-1] = (last[0], stop, True)
        else:
            found.append((first, stop, False))
    for first, stop, blinked in found:
        press = _press(time, share, first, stop, sure=sure)
        if blinked:
            press = replace(press, held="unsure")
        if press.end.high_s - press.begin.low_s < SHORTEST_PRESS_S and press.depth == "full":
            press = replace(press, depth="unsure")
        yield press


def _is_blink(time: Floats, before: tuple[int, int], after: tuple[int, int]) -> bool:
    """Whether a hold was up for less than any foot needs to leave the floor and come back.

    Presses in a row come closer to that; they are none that is held.
    """
    lasted_s = max(time[stop - 1] - time[first] for first, stop in (before, after))
    up_s = time[after[0]] - time[before[1] - 1]
    return bool(up_s < SHORTEST_PRESS_S and lasted_s > HELD_S)


def _touches(time: Floats, share: Floats) -> Iterator[Press]:
    """Movements too light for a press, yet more than noise."""
    resting = share[share < _UP]
    if resting.size < 8:
        return
    noise = 1.5 * float(np.median(np.abs(resting - np.median(resting))))
    for first, stop in _runs(share >= max(_TOUCHED, float(np.median(resting)) + 6.0 * noise)):
        deepest = float(share[first:stop].max())
        if deepest < _UP and (stop - first > 1 or deepest > 2.0 * _TOUCHED):
            before = float(time[first - 1]) if first else -np.inf
            after = float(time[stop]) if stop < time.size else np.inf
            begin, end = Moment(before, float(time[first])), Moment(float(time[stop - 1]), after)
            yield Press(begin, end, "shallow")


def _press(time: Floats, share: Floats, first: int, stop: int, *, sure: bool) -> Press:
    """One run of samples ``first`` to ``stop`` away from rest."""
    inside = share[first:stop]
    deepest = float(inside.max())
    enough = min(_DOWN, deepest)
    down = np.flatnonzero(inside >= enough)
    reached, left = first + int(down[0]), first + int(down[-1])
    begin = _crossing(time, share, range(first - 1, reached + 1), enough)
    ended = _crossing(time, share, range(stop, left - 1, -1), enough)
    depth = _depth(time, share, first, stop, deepest) if sure else "unsure"
    lowest = float(share[reached : left + 1].min())
    held = (
        "down" if lowest >= _DOWN or deepest < _DOWN else "eased" if lowest < _EASED else "unsure"
    )
    return Press(Moment(*begin), Moment(ended[1], ended[0]), depth, held)


def _crossing(time: Floats, share: Floats, way: range, enough: float) -> tuple[float, float]:
    """When the pedal was on its way between up and down: the times next to up and next to down.

    ``way`` holds the samples from the last one up to the first one down, in that direction. A
    sample between narrows it: the foot moves at a steady pace or nearly, so it cannot have passed
    the one level much before, or the other much after, the straight line says.
    """
    up, down = way[0], way[-1]
    outer = float(time[up]) if 0 <= up < time.size else -np.inf * way.step
    inner = float(time[down])
    if len(way) < 3 or not np.isfinite(outer):
        return outer, inner
    near_up, near_down = way[1], way[-2]
    outer += (
        _STEADY
        * ((_UP - float(share[up])) / max(float(share[near_up] - share[up]), 1e-9))
        * (float(time[near_up]) - outer)
    )
    inner += (
        _STEADY
        * ((float(share[down]) - enough) / max(float(share[down] - share[near_down]), 1e-9))
        * (float(time[near_down]) - inner)
    )
    return outer, inner


def _depth(time: Floats, share: Floats, first: int, stop: int, deepest: float) -> str:
    if deepest >= _DOWN:
        return "full"
    if deepest >= _SHALLOW:
        return "unsure"
    # Between samples further apart than a foot stays on the floor, it may have been there.
    around = time[max(first - 1, 0) : stop + 1]
    seen = float(np.diff(around).max()) <= _DWELL_S if around.size > 1 else False
    # Two alike may be on the way down and on the way up, with the floor between.
    many = int(np.count_nonzero(share[first:stop] > 0.8 * deepest)) > 2
    wide = float(np.diff(around).max()) > SHORTEST_PRESS_S if around.size > 1 else True
    return "shallow" if seen or (many and not wide) else "unsure"
