"""Find the operating points of a recording: steady stretches, each value with its error."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from bellmouth.recording.clamps import limits, of_both_banks
from bellmouth.recording.drive import cell_readings, cells
from bellmouth.recording.grid import STEP_S, Bools, Grid, grid_of, resample, runs
from bellmouth.recording.levels import Group, gather
from bellmouth.recording.medians import mean, median, medians
from bellmouth.recording.plateaus import Plateau, plateaus
from bellmouth.recording.purged import with_unreported_purge
from bellmouth.recording.readings import Asked, Windows, readings, statistics
from bellmouth.recording.series import Floats, Recording, Series
from bellmouth.recording.stand_ins import with_stand_ins
from bellmouth.recording.state import is_unplugged, loops, purging, warm
from bellmouth.recording.stretch import Kind, Reading, Stretch
from bellmouth.recording.stuck import without_stuck
from bellmouth.recording.trims import (
    BANKS,
    driven_as_high,
    is_trim,
    log_total_trim,
    total_trim_series,
)

__all__ = ["stretches"]

MOST = 24
MOST_IDLE = 6
MOST_HELD = 12
MOST_OFF = 2
# A reading settles after a change of operating point: manifold and meter at once, trims through
# the exhaust and the controller's integrator. Common practice, no source. [s]
GUARD_S = 1.0
TRIM_GUARD_S = 7.0
# Of a short stretch at most this share is given to the trims' settling.
TRIM_GUARD_SHARE = 0.45
# Idle is the lowest band of speeds, as wide as a compressor and a cold start raise it.
IDLE_BAND = 1.5
PEDAL_UP_BAND = 2.0
UNTOUCHED_BAND = 2.5
FASTEST_IDLE_RPM = 1800.0
# The pedal counts as up this close to its lowest reading. [%]
PEDAL_UP = 0.6
# A step above where it rests at the slowest, 0.39 %, it may be held: such an idle is no faster than
# this. A reading that flickers between two steps moves by less on the whole. Our choice, as
# the band. [%]
UNTOUCHED = 0.3
# Of so many samples of the pedal in a row the middle one counts.
STRAY = 5
TOUCHED_BAND = 1.3
# Share of a plateau with road speed above walking pace that still counts as standing. Road speed
# may be read every eight seconds only, and what lies between is interpolated.
MOVING_IDLE = 0.8
MOVING_HELD = 0.2
# In a drive an idle is this near to the usual one, in ln speed.
ROLLING = 0.08
# Without road speed: so many raised plateaus, or so little of the time in any, is a drive.
MOST_HELD_PLATEAUS = 12
LEAST_HELD_SHARE = 0.6

_Loops = tuple[bool | None, tuple[int, ...]]


def stretches(recording: Recording) -> tuple[Stretch, ...]:
    """The steady stretches of a recording in order of time, at most 24.

    Key on with the engine off, idles, held speeds; from a drive, operating points gathered from
    calm moments (``kind`` ``drive``). Long recordings with many returns to one idle level have
    them gathered into one stretch. Empty where engine speed is not reported or nothing held
    still. Beside the parameters reported a stretch holds ``log_total_trim_bank_1`` and ``_2``:
    ln((1 + short/100)(1 + long/100)), with ``at_limit``.
    """
    recording = with_stand_ins(without_stuck(recording))
    if is_unplugged(recording):
        told = {n: one for n, one in recording.series.items() if n != "engine_coolant_temperature"}
        recording = replace(recording, series=told)
    grid = grid_of(recording)
    if grid is None:
        return ()
    standing, driving, idle = _kinds(recording, grid, plateaus(grid))
    groups = gather(standing, "idle", MOST_IDLE) + gather(standing, "held", MOST_HELD)
    groups += _off(grid)
    found = with_unreported_purge(_measured(recording, groups))
    if driving.any():
        driven = _driven(recording, grid, driving, idle, MOST - len(found))
        found += driven_as_high(driven, found)
    if recording.loads_off:
        found = [replace(one, loads_off=True) if one.kind == "idle" else one for one in found]
    return tuple(sorted(found, key=lambda stretch: stretch.start_s))


def _kinds(
    recording: Recording, grid: Grid, found: Sequence[Plateau]
) -> tuple[list[tuple[Kind, Plateau]], Bools, Floats | None]:
    """Each standing plateau with its kind, where the car drives, and the idle's speed and load."""
    is_idle = _idling(recording, grid, found)
    idle = [p for p, pedal_up in zip(found, is_idle, strict=True) if pedal_up]
    raised = [p for p, pedal_up in zip(found, is_idle, strict=True) if not pedal_up]
    moving = grid.moving
    if moving is None:
        moving = _without_plateaus(grid, idle, raised)
    still = [p for p in idle if mean(moving[p.first : p.stop]) <= MOVING_IDLE]
    held = [p for p in raised if mean(moving[p.first : p.stop]) <= MOVING_HELD]
    kinds: list[tuple[Kind, Plateau]] = [("idle", p) for p in still]
    kinds += [("held", p) for p in held]
    return kinds, moving & grid.running, _idle_point(grid, still)


def _idling(recording: Recording, grid: Grid, found: Sequence[Plateau]) -> list[bool]:
    """Whether each plateau is an idle: by the pedal where it is reported, else by its speed."""
    pedal = recording.get("accelerator_pedal_position_d")
    if pedal is not None and pedal.time_s.size > 2:
        if np.ptp(pedal.value) == 0:
            # Nobody touched it, or it is dead: a cold start alone may go this high.
            return _slow(grid, found, UNTOUCHED_BAND)
        position = resample(pedal, grid.time_s)
        if not found:
            return []
        at = [mean(position[p.first : p.stop]) for p in found]
        up = _lowest(pedal, grid) + PEDAL_UP
        untouched = _at_rest(grid, found, at) + UNTOUCHED
        slow, near = (_slow(grid, found, band) for band in (PEDAL_UP_BAND, TOUCHED_BAND))
        return [
            there <= up and low and (usual or there <= untouched)
            for there, low, usual in zip(at, slow, near, strict=True)
        ]
    return _slow(grid, found, IDLE_BAND)


def _lowest(pedal: Series, grid: Grid) -> float:
    """The lowest that a pedal reads of a running engine, in several samples in a row: a single one
    may be astray, and with the key on it may not be read yet. [%]"""
    cell = np.minimum((pedal.time_s / STEP_S).astype(np.intp), grid.running.size - 1)
    value = pedal.value[grid.running[cell]]
    if value.size < STRAY:
        return float(pedal.value.min())
    return float(medians(sliding_window_view(value, STRAY)).min())


def _at_rest(grid: Grid, found: Sequence[Plateau], at: Sequence[float]) -> float:
    """Where the pedal is while the engine turns at its slowest. [%]"""
    speed = grid.signals[0].value
    slowest = min(range(len(found)), key=lambda i: mean(speed[found[i].first : found[i].stop]))
    return at[slowest]


def _slow(grid: Grid, found: Sequence[Plateau], band: float) -> list[bool]:
    """Whether each plateau's speed is within ``band`` times the lowest."""
    speed = grid.signals[0].value
    ln_rpm = [mean(speed[p.first : p.stop]) for p in found]
    lowest = min(ln_rpm, default=np.inf)
    edge = lowest + np.log(band) if lowest < np.log(FASTEST_IDLE_RPM) else -np.inf
    return [level <= edge for level in ln_rpm]


def _without_plateaus(grid: Grid, idle: Sequence[Plateau], raised: Sequence[Plateau]) -> Bools:
    """Where the car drives if only engine speed and load can tell: outside idle, all or nothing."""
    running = int(np.count_nonzero(grid.running))
    calm = sum(p.stop - p.first for p in [*idle, *raised])
    restless = running - calm > 60 / STEP_S and calm < LEAST_HELD_SHARE * running
    moving = np.zeros(grid.time_s.size, dtype=bool)
    if restless or len(raised) > MOST_HELD_PLATEAUS:
        moving |= grid.running
        for plateau in _usual(grid, idle):
            moving[plateau.first : plateau.stop] = False
    return moving


def _usual(grid: Grid, idle: Sequence[Plateau]) -> list[Plateau]:
    """The idles near the commonest idle speed: the others are a car that rolls to a stop."""
    if not idle:
        return []
    speed = grid.signals[0].value
    each = [mean(speed[p.first : p.stop]) for p in idle]
    usual = median(np.repeat(each, [p.stop - p.first for p in idle]))
    return [p for p, level in zip(idle, each, strict=True) if abs(level - usual) < ROLLING]


def _idle_point(grid: Grid, idle: Sequence[Plateau]) -> Floats | None:
    if not idle or len(grid.signals) < 2:
        return None
    longest = max(idle, key=lambda p: p.stop - p.first)
    return np.array([mean(s.value[longest.first : longest.stop]) for s in grid.signals[:2]])


def _off(grid: Grid) -> list[Group]:
    """The longest pieces with the key on and the engine standing."""
    pieces = sorted(runs(grid.off), key=lambda piece: piece[0] - piece[1])[:MOST_OFF]
    return [Group("engine off", [piece]) for piece in pieces if piece[1] - piece[0] >= 2]


def _measured(recording: Recording, groups: Sequence[Group]) -> list[Stretch]:
    """The groups as stretches, with every parameter's reading."""
    if not groups:
        return []
    quick, late = _windows(groups, (GUARD_S, 0.3), (TRIM_GUARD_S, 1.0))
    every = recording.series.values()
    totals = {bank: total_trim_series(recording, bank) for bank in BANKS}
    asked = [Asked(series, late if is_trim(series.name) else quick) for series in every]
    asked += [Asked(total, late, 0.0) for total in totals.values() if total is not None]
    each = {one.series.name: found for one, found in zip(asked, statistics(asked), strict=True)}
    for series in every:
        if "fuel_trim" in series.name:
            found = each[series.name]
            each[series.name] = replace(found, at_limit=limits(series, late, found))
    states = [loops(recording, group.pieces) for group in groups]
    on = np.array([group.kind != "engine off" for group in groups])
    told = {bank: total for bank, total in totals.items() if total is not None}
    sums = [
        log_total_trim(recording, bank, one, late, each, on & _not_open(bank, states))
        for bank, one in told.items()
    ]
    for total, found in zip(told.values(), of_both_banks(sums), strict=True):
        each[total.name] = found
    by_name = {name: readings(found) for name, found in each.items()}
    return [
        _stretch(recording, group, number, by_name, states[number])
        for number, group in enumerate(groups)
    ]


def _not_open(bank: int, states: Sequence[_Loops]) -> Bools:
    return np.array([bank not in open_banks for _, open_banks in states], dtype=bool)


def _stretch(
    recording: Recording,
    group: Group,
    number: int,
    by_name: Mapping[str, Sequence[Reading | None]],
    state: _Loops,
) -> Stretch:
    held = {name: row[number] for name, row in by_name.items()}
    values = {name: reading for name, reading in held.items() if reading is not None}
    start, end = group.start_s + GUARD_S, group.end_s
    return Stretch(
        kind=group.kind,
        start_s=start if start < end else group.start_s,
        end_s=end,
        readings=values,
        warm=warm(recording, values, group.start_s),
        closed_loop=state[0],
        purging=purging(recording, group.pieces),
        open_banks=state[1],
    )


def _windows(groups: Sequence[Group], *guards: tuple[float, float]) -> list[Windows]:
    """All pieces in order of time, each without the seconds in which a reading settles and some
    before its end, for each of such ``guards``. [s]"""
    pieces = sorted(
        (first * STEP_S, stop * STEP_S, number)
        for number, group in enumerate(groups)
        for first, stop in group.pieces
    )
    start, end, stretch = (np.array(column) for column in zip(*pieces, strict=True))
    seconds = end - start
    # Nothing changed before the recording began.
    most = np.where(start > STEP_S, TRIM_GUARD_SHARE * seconds, 0.0)
    alike = np.array([group.kind != "engine off" for group in groups])
    return [
        Windows(
            start + np.minimum(guard_s, most),
            end - np.minimum(before_s, 0.1 * seconds),
            stretch.astype(np.intp),
            len(groups),
            alike,
        )
        for guard_s, before_s in guards
    ]


def _driven(
    recording: Recording, grid: Grid, driving: Bools, idle: Floats | None, most: int
) -> list[Stretch]:
    points = cells(grid, driving, idle, most)
    pieces = [_pairs(point.first, point.stop) for point in points]
    states = [loops(recording, mine) for mine in pieces]
    told = cell_readings(recording, grid, points)
    return [
        Stretch(
            kind="drive",
            start_s=float(point.first.min() * STEP_S),
            end_s=float(point.stop.max() * STEP_S),
            readings=values,
            warm=warm(recording, values, float(point.first.min() * STEP_S)),
            closed_loop=closed,
            purging=purging(recording, mine),
            open_banks=open_banks,
        )
        for point, mine, (closed, open_banks), values in zip(
            points, pieces, states, told, strict=True
        )
    ]


def _pairs(first: NDArray[np.intp], stop: NDArray[np.intp]) -> list[tuple[int, int]]:
    return list(zip(first.tolist(), stop.tolist(), strict=True))
