"""Which attempts a recording holds, where each began, and which happening belongs to which step.

Each step that a signal shows is a *beat*. From every happening that could open the procedure the
cheapest way to lay the beats over what followed is found by dynamic programming: a beat may be
missing, a happening may belong to no beat, and a wrong count, length or wait costs a little. The
cost decides only what belongs to what; whether it was right is the judge's to say.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bellmouth.learning.evidence import Evidence, Happening
from bellmouth.learning.procedure import Procedure, Step, Window

__all__ = ["Alignment", "align", "leaves_traces"]

_MISSING, _MISSING_OPTIONAL = 2.5, 0.4
_SKIPPED = {"press": 0.6, "touch": 0.0}
_SKIPPED_KEY = 1.2
#: An engine that was turned and did not catch, and its stop.
_SKIPPED_VAIN = 0.2
_WORST_TIME = 1.5
_WRONG_LENGTH = 2.0
_WORST_COUNT, _ONE_COUNT = 2.0, 0.5
#: So many happenings may be passed over between two beats, and presses be too many in one.
_PASSED, _TOO_MANY = 8, 6
#: Happenings after an opening that are looked at.
_REACH = 80
#: A press shorter than this is no hold, longer is no pump. [s]
_SHORT_S, _LONG_S = 1.5, 2.5

_KINDS = {
    ("key", "on"): "key_on",
    ("key", "off"): "key_off",
    ("pedal", "press"): "press",
    ("pedal", "pump"): "press",
    ("pedal", "rev"): "press",
    ("pedal", "snap"): "press",
    ("engine", "start"): "engine_start",
    ("engine", "crank"): "engine_start",
}


@dataclass(frozen=True)
class Alignment:
    """One attempt: the happenings of each step by its name, and which stretch they cover.

    ``first`` and ``last`` are indices into the evidence's happenings; ``cost`` is lower for an
    attempt that is more like the procedure.
    """

    steps: Mapping[str, tuple[Happening, ...]]
    first: int
    last: int
    cost: float


@dataclass(frozen=True, slots=True)
class _Track:
    """The happenings as plain lists, because the search looks at each of them many times. [s]

    ``kind``, ``at``, ``end`` and ``running`` (before it, the engine ran) have one element a
    happening; ``long`` counts presses too long for a pump up to and without it; ``short`` says
    that a press is too short for a hold; ``vain`` that an engine was turned and did not catch;
    ``skip`` is what it costs to pass one over.
    """

    kind: list[str]
    at: list[float]
    end: list[float]
    running: list[bool]
    long: list[int]
    short: list[bool]
    vain: list[bool]
    skip: list[float]


@dataclass(frozen=True, slots=True)
class _Beat:
    """A step that a signal shows; ``wait`` is the window from the beat before, if that is next."""

    step: Step
    kind: str
    many: bool
    wait: Window | None


@dataclass(frozen=True, slots=True)
class _Way:
    """A partial alignment: its cost, last happening used, and how it came there."""

    cost: float
    last: int
    beat: int
    used: range
    before: "_Way | None"


def align(evidence: Evidence, procedure: Procedure) -> tuple[Alignment, ...]:
    """The attempts, in order of time, none overlapping; empty where nothing looks like one."""
    beats = _beats(evidence, procedure)
    if not beats:
        return ()
    track = _track(evidence.happenings)
    opening = {beat.kind for beat in beats[:2]}
    found: list[Alignment] = []
    for index, kind in enumerate(track.kind):
        if kind in opening:
            way = _best_way(track, procedure, beats, index)
            alignment = _alignment(way, evidence.happenings, beats)
            if alignment is not None:
                found.append(alignment)
    chosen: list[Alignment] = []
    for one in sorted(found, key=lambda item: item.cost):
        if all(one.last < other.first or other.last < one.first for other in chosen):
            chosen.append(one)
    return tuple(sorted(chosen, key=lambda item: item.first))


def leaves_traces(evidence: Evidence, procedure: Procedure) -> bool:
    """Whether any step is one that this evidence would show; else marks alone tell of it."""
    return bool(_beats(evidence, procedure))


def _track(happenings: Sequence[Happening]) -> _Track:
    lengths = [0.0 if item.press is None else item.press.lasted_s for item in happenings]
    vain = [item.kind == "engine_start" and item.then is None for item in happenings]
    stopped = [
        before and item.kind == "engine_stop"
        for before, item in zip([False, *vain], happenings, strict=False)
    ]
    long = [0]
    for length in lengths:
        long.append(long[-1] + (length > _LONG_S))
    return _Track(
        [item.kind for item in happenings],
        [item.at.best_s for item in happenings],
        [item.end.best_s for item in happenings],
        _running(happenings),
        long,
        [length < _SHORT_S for length in lengths],
        vain,
        [
            _SKIPPED_VAIN if any(tried) else _SKIPPED.get(item.kind, _SKIPPED_KEY)
            for item, *tried in zip(happenings, vain, stopped, strict=True)
        ],
    )


def _beats(evidence: Evidence, procedure: Procedure) -> tuple[_Beat, ...]:
    beats: list[_Beat] = []
    before = -1
    for index, step in enumerate(procedure.steps):
        kind = _KINDS.get((step.who, step.do))
        if kind is None or step.who not in evidence.signals:
            continue
        wait = _wait(procedure.steps[before : index + 1]) if before >= 0 else None
        beats.append(_Beat(step, kind, step.do in ("pump", "rev", "snap"), wait))
        before = index
    return tuple(beats)


def _wait(steps: Sequence[Step]) -> Window | None:
    """Window on the time from the end of the first step to the beginning of the last."""
    first, *inner, last = steps
    windows = [step.lasts_s for step in inner]
    if first.do not in ("press", "pump", "rev", "snap"):
        windows.append(first.lasts_s)
    if last.after_s is not None and last.after in ("", steps[-2].name):
        windows.append(last.after_s)
    known = [window for window in windows if window is not None]
    if not known:
        return None
    return Window(sum(w.least_s for w in known), sum(w.most_s for w in known))


def _running(happenings: Sequence[Happening]) -> list[bool]:
    """Whether the engine ran just before each happening."""
    found, runs = [], False
    for happening in happenings:
        found.append(runs)
        if happening.kind == "engine_start":
            runs = True
        elif happening.kind in ("engine_stop", "key_off"):
            runs = False
    return found


def _best_way(track: _Track, procedure: Procedure, beats: tuple[_Beat, ...], opening: int) -> _Way:
    """The cheapest way to lay all beats over what follows an opening, which is used itself."""
    end = min(len(track.kind), opening + _REACH)
    start = _Way(0.0, opening - 1, -1, range(0), None)
    ways = {start.last: start}
    for number, beat in enumerate(beats):
        further: dict[int, _Way] = {}
        for way in ways.values():
            _offer(further, _missed(way, beat, number))
            opens = way.last < opening
            reach = opening + 1 if opens else min(end, way.last + 2 + _PASSED)
            skipped = way.cost
            for index in range(way.last + 1, reach):
                if track.kind[index] == beat.kind and _fits(beat, procedure, track, index):
                    waited = _waited(track, beat, way, index, number)
                    for stop in _stops(track, beat, index, end):
                        cost = skipped + waited + _price(track, beat, index, stop)
                        _offer(further, _Way(cost, stop - 1, number, range(index, stop), way))
                skipped += track.skip[index]
        ways = further
    opened = [way for way in ways.values() if way.last >= opening]
    return min(opened or [start], key=lambda way: way.cost)


def _offer(ways: dict[int, _Way], way: _Way) -> None:
    if way.last not in ways or way.cost < ways[way.last].cost:
        ways[way.last] = way


def _missed(way: _Way, beat: _Beat, number: int) -> _Way:
    # Of two steps that are alike, the later is the one that was left out.
    cost = (_MISSING_OPTIONAL if beat.step.optional else _MISSING) - 0.001 * number
    return _Way(way.cost + cost, way.last, number, range(0), way)


def _fits(beat: _Beat, procedure: Procedure, track: _Track, index: int) -> bool:
    running = track.running[index]
    if beat.step.do == "start" and track.vain[index]:
        return False
    if beat.step.do in ("rev", "snap"):
        return running
    return not (beat.kind == "press" and running and procedure.engine != "running")


def _stops(track: _Track, beat: _Beat, first: int, end: int) -> range:
    """Where the happenings that a beat may take, beginning at ``first``, may stop."""
    if not beat.many:
        return range(first + 1, first + 2)
    stop = first + 1
    limit = min(end, first + beat.step.times[1] + _TOO_MANY)
    while stop < limit and track.kind[stop] == beat.kind:
        stop += 1
    return range(first + 1, stop + 1)


def _waited(track: _Track, beat: _Beat, way: _Way, first: int, number: int) -> float:
    """How unlike the step the wait before it is; nothing where the beat before is missing."""
    if beat.wait is None or way.beat != number - 1 or not way.used:
        return 0.0
    return _outside(track.at[first] - track.end[way.last], beat.wait.least_s, beat.wait.most_s)


def _price(track: _Track, beat: _Beat, first: int, stop: int) -> float:
    """How unlike the step these happenings are in count and length."""
    if not beat.many:
        return _WRONG_LENGTH if beat.kind == "press" and track.short[first] else 0.0
    least, most = beat.step.times
    count = stop - first
    off = max(least - count, count - most, 0)
    cost = _outside(track.end[stop - 1] - track.at[first], 0.0, beat.step.within_s)
    cost += min(_ONE_COUNT * off, _WORST_COUNT)
    return cost + _WRONG_LENGTH * (track.long[stop] - track.long[first])


def _outside(measured: float, least: float, most: float) -> float:
    """What a time outside its window costs, in proportion and up to a limit."""
    beyond = max(least - measured, measured - most)
    if beyond <= 0 or not math.isfinite(beyond):
        return 0.0
    scale = max(1.0, 0.3 * (least if math.isinf(most) else most))
    return min(beyond / scale, _WORST_TIME)


def _alignment(
    way: _Way, happenings: Sequence[Happening], beats: tuple[_Beat, ...]
) -> Alignment | None:
    """The steps of a way, or None where it is too little like an attempt to be one."""
    steps: dict[str, tuple[Happening, ...]] = {}
    indices: list[int] = []
    at: _Way | None = way
    while at is not None and at.beat >= 0:
        if at.used:
            beat = beats[at.beat]
            steps[beat.step.name] = tuple(happenings[index] for index in at.used)
            indices += at.used
        at = at.before
    if not _recognised(steps, beats):
        return None
    return Alignment(steps, min(indices), max(indices), way.cost - 2.0 * len(steps))


def _recognised(steps: Mapping[str, tuple[Happening, ...]], beats: tuple[_Beat, ...]) -> bool:
    """At least two beats, or the only one; for a pedal pattern, presses or a hold among them."""
    wanted = [beat for beat in beats if not beat.step.optional]
    if len(steps) < min(2, len(wanted)):
        return False
    pedal = [beat for beat in wanted if beat.kind == "press"]
    if not pedal:
        return True
    return any(
        beat.step.name in steps
        and (_is_hold(steps[beat.step.name][0]) if not beat.many else _are_many(beat, steps))
        for beat in pedal
    )


def _is_hold(happening: Happening) -> bool:
    """A movement of which nobody can say how deep it was is no sign of a pattern by itself."""
    return happening.press is None or happening.press.depth != "unsure"


def _are_many(beat: _Beat, steps: Mapping[str, tuple[Happening, ...]]) -> bool:
    return len(steps[beat.step.name]) > 1 or beat.step.times[0] == 1
