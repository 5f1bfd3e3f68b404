"""Key and engine in a recording: the bus going quiet, the supply, the engine's speed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.learning.evidence import RUNS_RPM, TURNS_RPM, Happening, Moment
from bellmouth.learning.pedal import PEDAL_SIGNALS
from bellmouth.recording.clock import SEAM_S
from bellmouth.recording.series import Floats, Recording, Series

__all__ = [
    "BLIP_S",
    "QUIET_S",
    "WAKE_S",
    "Bus",
    "clock_seams",
    "read_bus",
    "read_engine",
    "read_key",
]

#: After key on a controller answers within this beside the poller's own interval. A guess. [s]
WAKE_S = 0.05
#: A log that holds requests nobody answered was kept by a poller that waits so long for each
#: answer: a controller that wakes just after a question is first heard with the next. [s]
_UNANSWERED_S = 0.2
#: No sample of any parameter for this long is the key turned off. [s]
QUIET_S = 1.0
#: The same as a multiple of the usual interval between rows, where that is longer.
_QUIET_ROWS = 4.0
#: A clock that shows more than this at the first sample did not begin with the recorder. [s]
_FRESH_CLOCK_S = 3600.0
#: No engine stands and turns again, or turns and stands again, in less. A guess. [s]
BLIP_S = 0.3
#: Below this the controller is not supplied. [V]
_OFF_V = 5.0
#: A reading this soon after a gap still tells what went on at its end. [s]
_SOON_S = 3.0
#: Times are written to the millisecond or so. [s]
_HAIR_S, _SEAM_GIVE_S = 1e-6, 1e-3


@dataclass(frozen=True)
class Bus:
    """When anything was sampled (on the file's clock), how often, and the quiet gaps. [s]

    ``interval_s`` is what all but a hundredth of the intervals between rows stay within; a gap
    ``(a, b)`` has its last sample before at ``a`` and its first after at ``b``. The key is turned
    on up to ``interval_s + wake_s`` before the first sample, unless ``woken`` says better: there
    the recorder noted when the car was still silent and when it was found awake.
    """

    begin_s: float
    end_s: float
    interval_s: float
    gaps: tuple[tuple[float, float], ...]
    wake_s: float = WAKE_S
    woken: tuple[tuple[float, float], ...] = ()


def read_bus(recording: Recording) -> Bus:
    """Rhythm and gaps of a recording."""
    every = _every_time(recording) + recording.begins_s
    steps = np.diff(every)
    if not steps.size:
        return Bus(float(every[0]), float(every[0]), QUIET_S, ())
    usual = float(np.median(steps))
    quiet = max(QUIET_S, _QUIET_ROWS * usual)
    wide = np.flatnonzero(steps > quiet)
    close = steps[steps <= quiet]
    place = min(close.size - 1, int(0.99 * close.size)) if close.size else 0
    interval = float(np.partition(close, place)[place]) if close.size else quiet
    gaps = tuple((float(every[index]), float(every[index + 1])) for index in wide)
    waits = any(note.endswith(" not answered.") for note in recording.notes)
    wake_s = WAKE_S + (_UNANSWERED_S if waits else 0.0)
    return Bus(float(every[0]), float(every[-1]), interval, gaps, wake_s, recording.woken)


def _every_time(recording: Recording) -> Floats:
    """Times of all samples, ascending, each once."""
    different: list[Floats] = []
    for series in recording.series.values():
        time = series.time_s
        alike = (
            other.size == time.size and other[0] == time[0] and np.array_equal(other, time)
            for other in different
        )
        if not any(alike):
            different.append(time)
    if len(different) == 1:
        return different[0]
    # Stable sorting merges the runs, which are in order already.
    merged = np.sort(np.concatenate(different), kind="stable")
    keep = np.ones(merged.size, dtype=bool)
    keep[1:] = np.diff(merged) > 0
    return merged[keep]


def read_key(recording: Recording, bus: Bus) -> tuple[tuple[Happening, ...], tuple[str, ...]]:
    """Key on and key off, and sentences on how they were told."""
    seams = clock_seams(recording, bus)
    offset = recording.begins_s
    notes: list[str] = []
    found: list[Happening] = []
    clock_s = offset if offset > _FRESH_CLOCK_S else 0.0
    if bus.begin_s - clock_s > max(QUIET_S, _QUIET_ROWS * bus.interval_s):
        found += [
            Happening("key_off", Moment(-np.inf, clock_s)),
            Happening("key_on", _woken(bus.begin_s, bus)),
        ]
        notes.append(
            f"Nothing was sampled before {bus.begin_s:.1f} s; taken as key off until then."
        )
    else:
        found.append(Happening("key_on", Moment(-np.inf, bus.begin_s)))
    for last, first in bus.gaps:
        why = _went_on(recording, last - offset, first - offset)
        if why and (last, first) in seams:
            notes.append(f"The clock began again at {last:.1f} s while {why}.")
        elif why:
            notes.append(
                f"Nothing was sampled from {last:.1f} to {first:.1f} s while {why}: samples lost, "
                "not key off."
            )
        elif (last, first) in seams:
            # How long the key was off between the two parts, nobody knows.
            found.append(Happening("key_off", Moment(last, first, last)))
            found.append(Happening("key_on", Moment(last, first, first)))
        else:
            found.append(Happening("key_off", Moment(last, last + bus.interval_s)))
            found.append(Happening("key_on", _woken(first, bus)))
    found += _supply(recording.get("control_module_voltage"), offset)
    return tuple(found), tuple(notes)


def clock_seams(recording: Recording, bus: Bus) -> tuple[tuple[float, float], ...]:
    """The gaps where the recording's clock began again; nobody knows how long they were. [s]"""
    if not any("clock began again" in note for note in recording.notes):
        return ()
    return tuple(gap for gap in bus.gaps if abs(gap[1] - gap[0] - SEAM_S) < _SEAM_GIVE_S)


def _woken(first_s: float, bus: Bus) -> Moment:
    """When the key was turned on before a first sample."""
    for low_s, high_s in bus.woken:
        if np.isfinite(low_s) and high_s <= first_s + _HAIR_S and first_s - high_s < QUIET_S:
            # Who noted when a question went unanswered knows better than any rule.
            return Moment(low_s - WAKE_S, high_s)
    return Moment(first_s - bus.interval_s - bus.wake_s, first_s)


def _went_on(recording: Recording, last_s: float, first_s: float) -> str:
    """What went on across a gap, so that the key was not turned off; empty for nothing."""
    speed = recording.get("engine_speed")
    if speed is not None and _above(speed, RUNS_RPM, last_s, first_s):
        return "the engine ran"
    for name in PEDAL_SIGNALS:
        pedal = recording.get(name)
        if pedal is not None:
            half = 0.5 * float(pedal.value.min() + pedal.value.max())
            floor = half + 0.5 * PEDAL_SIGNALS[name]
            held = pedal.value.max() > floor and _above(pedal, half, last_s, first_s)
            return "the pedal was held" if held else ""
    return ""


def _above(series: Series, level: float, last_s: float, first_s: float) -> bool:
    """Whether a parameter was above a level on both sides of a gap."""
    before = int(np.searchsorted(series.time_s, last_s + _HAIR_S, side="right")) - 1
    after = int(np.searchsorted(series.time_s, first_s - _HAIR_S))
    if before < 0 or after >= series.time_s.size or series.time_s[after] - first_s > _SOON_S:
        return False
    return bool(series.value[before] > level and series.value[after] > level)


def _supply(voltage: Series | None, offset: float) -> list[Happening]:
    """Key off where a recorder that goes on sees the supply gone."""
    if voltage is None:
        return []
    found = []
    for kind, before, after in _crossings(voltage.value < _OFF_V):
        low, high = (float(voltage.time_s[index]) + offset for index in (before, after))
        found.append(Happening("key_off" if kind else "key_on", Moment(low, high)))
    return found


def _crossings(state: NDArray[np.bool_]) -> list[tuple[bool, int, int]]:
    """Each change of a state: the new state, the samples before and after."""
    edges = np.flatnonzero(np.diff(state)) + 1
    return [(bool(state[index]), int(index) - 1, int(index)) for index in edges]


def read_engine(recording: Recording, bus: Bus) -> tuple[Happening, ...]:
    """Starts, with the moment from which the engine ran, and stalls."""
    speed = recording.get("engine_speed")
    if speed is None or not speed.time_s.size:
        return ()
    time = speed.time_s + recording.begins_s
    found: list[Happening] = []
    turning = _without_blips(time, speed.value >= TURNS_RPM)
    running = _without_blips(time, speed.value >= RUNS_RPM)
    if turning[0]:
        found.append(_start(time, turning, running, 0, bus))
    for turns, before, after in _crossings(turning):
        if turns:
            found.append(_start(time, turning, running, after, bus))
        else:
            at = Moment(
                float(time[before]), _no_later(float(time[before]), float(time[after]), bus)
            )
            found.append(Happening("engine_stop", at))
    return tuple(found)


def _without_blips(time: Floats, state: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """A state that one sample alone contradicts, with its like close by on both sides, went on."""
    kept = state.copy()
    alone = (state[1:-1] != state[:-2]) & (state[:-2] == state[2:])
    close = time[2:] - time[:-2] < BLIP_S
    kept[1:-1][alone & close] ^= True
    return kept


def _start(
    time: Floats,
    turning: NDArray[np.bool_],
    running: NDArray[np.bool_],
    index: int,
    bus: Bus,
) -> Happening:
    """A start seen first at sample ``index``; its ``then`` is None if the engine only turned."""
    at = Moment(_no_sooner(time, index, bus), float(time[index]))
    # An engine that does not catch is started by a later turn of the key.
    stood = np.flatnonzero(~turning[index:])
    last = index + int(stood[0]) if stood.size else time.size
    caught = np.flatnonzero(running[index:last])
    if not caught.size:
        return Happening("engine_start", at)
    runs = index + int(caught[0])
    return Happening(
        "engine_start", at, then=Moment(_no_sooner(time, runs, bus), float(time[runs]))
    )


def _no_sooner(time: Floats, index: int, bus: Bus) -> float:
    """The sample before, but not from before the key was last turned on."""
    if index == 0:
        return -np.inf
    before = float(time[index - 1])
    for last, first in bus.gaps:
        if before <= last and first <= time[index]:
            return _woken(first, bus).low_s
    return before


def _no_later(before: float, after: float, bus: Bus) -> float:
    """The sample after, but not after the key was turned off."""
    for last, _ in bus.gaps:
        if before <= last < after:
            return last + bus.interval_s
    return after
