"""From a recording and marks to what happened and when: the judge's only view of the attempt."""

import math
from collections.abc import Collection, Mapping, Sequence

import numpy as np

from bellmouth.learning.evidence import Evidence, Happening, Moment, Press
from bellmouth.learning.ignition import clock_seams, read_bus, read_engine, read_key
from bellmouth.learning.lamp import LAMP_EVENTS, read_lamp
from bellmouth.learning.marks import ACTION_MARKS, TO_THE_FLOOR, Marks
from bellmouth.learning.pedal import read_pedal
from bellmouth.learning.procedure import Procedure
from bellmouth.recording.series import Recording

__all__ = ["evidence_of"]

#: The first sample comes this long after key on at most, where somebody tapped it, and the last
#: this long after key off. [s]
_SOON_S = 1.0
_KEY_MARKS = ("key_on", "key_off")

_Events = dict[str, tuple[Moment, ...]]
_Spans = dict[str, tuple[tuple[float, float], ...]]


def evidence_of(recording: Recording | None, procedure: Procedure, marks: Marks) -> Evidence:
    """Everything that a recording and marks show, on the recording file's own clock.

    A tap on an action (``key_on``, ``press`` …) counts only where no signal shows that action; on
    the key also before the first sample and after the last.
    """
    happenings: list[Happening] = []
    signals: set[str] = set()
    notes: list[str] = []
    events: _Events = {}
    pedal = None
    stood: _Spans = {}
    seams: tuple[tuple[float, float], ...] = ()
    begin, end = _marked_span(marks)
    if recording is not None:
        bus = read_bus(recording)
        begin, end = bus.begin_s, bus.end_s
        keys, notes_on_key = read_key(recording, bus)
        happenings += [*_with_key_taps(keys, marks, begin, end), *read_engine(recording, bus)]
        notes += notes_on_key
        seams = clock_seams(recording, bus)
        signals.add("key")
        if "engine_speed" in recording:
            signals.add("engine")
        pedal = read_pedal(recording, to_the_floor=marks.confirmed.get(TO_THE_FLOOR))
        if pedal is not None:
            signals.add("pedal")
            happenings += [Happening("press", one.begin, one) for one in pedal.presses]
            happenings += [Happening("touch", one.begin, one) for one in pedal.touches]
            notes += pedal.notes
        events.update(read_lamp(recording) or {})
        shown, stood = _shown(recording, procedure)
        events.update(shown)
    notes += _unused(marks, signals, begin, end)
    if pedal is not None and any(step.do in ("press", "pump") for step in procedure.steps):
        notes += pedal.leans
    tapped, tapped_signals = _taps(marks, signals)
    happenings += tapped
    known = procedure.every_event()
    events.update({name: at for name, at in marks.moments.items() if name in known})
    return Evidence(
        happenings=tuple(sorted(happenings, key=lambda item: item.at.best_s)),
        events=events,
        stood=stood,
        watched=_watched(events),
        taps=_own_taps(marks, known),
        confirmed=marks.confirmed,
        reasons=marks.reasons,
        signals=frozenset(signals | tapped_signals),
        pedal_s=None if pedal is None else pedal.time_s,
        begin_s=begin,
        end_s=end,
        notes=tuple(notes),
        seams=seams,
    )


def _own_taps(marks: Marks, known: Collection[str]) -> _Events:
    """Taps under a name that is neither an event's nor an action's, such as a step's."""
    return {
        name: at
        for name, at in marks.moments.items()
        if name not in known and name not in ACTION_MARKS
    }


def _shown(recording: Recording, procedure: Procedure) -> tuple[_Events, _Spans]:
    """Events that a parameter shows: when it came within its limits, and how long it lay there."""
    events: _Events = {}
    stood: _Spans = {}
    for step in procedure.steps:
        series = recording.get(step.until.signal) if step.until is not None else None
        if step.until is None or series is None:
            continue
        inside = (series.value >= step.until.least) & (series.value <= step.until.most)
        time = series.time_s + recording.begins_s
        edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
        spans = list(zip(edges[::2], edges[1::2], strict=True))
        events[step.until.event] = tuple(
            Moment(float(time[first - 1]) if first else -np.inf, float(time[first]))
            for first, _ in spans
        )
        stood[step.until.event] = tuple(
            (float(time[first]), float(time[stop - 1])) for first, stop in spans
        )
    return events, stood


def _marked_span(marks: Marks) -> tuple[float, float]:
    every = [moment.best_s for moments in marks.moments.values() for moment in moments]
    if not every:
        return 0.0, 0.0
    # Who watched on would have marked what ended the last step.
    return min(every), max(*every, marks.watched_until_s or 0.0)


def _watched(events: Mapping[str, tuple[Moment, ...]]) -> frozenset[str]:
    """Who marked one state of the lamp was watching it, and would have marked another."""
    found = set(events)
    if found & set(LAMP_EVENTS):
        found |= set(LAMP_EVENTS)
    return frozenset(found)


def _with_key_taps(
    keys: Sequence[Happening], marks: Marks, begin_s: float, end_s: float
) -> list[Happening]:
    """The key as recorded; before the first sample and after the last, as tapped."""
    seen = any(one.kind == "key_on" and math.isfinite(one.at.low_s) for one in keys[:2])
    tapped = [
        Happening(kind, at)
        for kind in _KEY_MARKS
        for at in marks.moments.get(kind, ())
        if _is_outside(kind, at, begin_s, end_s)
        # A recorder that was there before the key was turned on knows it better.
        and not (seen and kind == "key_on" and at.best_s <= begin_s + _SOON_S)
    ]
    early = {item.kind for item in tapped if item.at.best_s <= begin_s + _SOON_S}
    kept = [item for item in keys if not (item.kind in early and math.isinf(item.at.low_s))]
    return [*kept, *tapped]


def _is_outside(kind: str, at: Moment, begin_s: float, end_s: float) -> bool:
    """Whether a tap on the key lies where no sample shows it; a car answers on for a moment."""
    answers_s = _SOON_S if kind == "key_off" else 0.0
    return at.best_s <= begin_s + _SOON_S or at.best_s >= end_s - answers_s


def _unused(marks: Marks, signals: Collection[str], begin_s: float, end_s: float) -> list[str]:
    """Marks of actions that a signal shows better."""
    shown = {
        "press": "pedal",
        "release": "pedal",
        "engine_start": "engine",
        "engine_stop": "engine",
    }
    if "key" in signals:
        for kind in _KEY_MARKS:
            taps = marks.moments.get(kind, ())
            if not all(_is_outside(kind, at, begin_s, end_s) for at in taps):
                shown[kind] = "key"
    return [
        f'The mark "{name}" was not used: the recording holds the {shown[name]}.'
        for name in marks.moments
        if shown.get(name) in signals
    ]


def _taps(marks: Marks, signals: set[str]) -> tuple[list[Happening], set[str]]:
    found: list[Happening] = []
    tapped: set[str] = set()
    if marks.moments.keys() & {"key_on", "key_off"} and "key" not in signals:
        tapped.add("key")
        for kind in ("key_on", "key_off"):
            found += [Happening(kind, at) for at in marks.moments.get(kind, ())]
    if marks.moments.keys() & {"engine_start", "engine_stop"} and "engine" not in signals:
        tapped.add("engine")
        for kind in ("engine_start", "engine_stop"):
            found += [Happening(kind, at, then=at) for at in marks.moments.get(kind, ())]
    if "press" in marks.moments and "pedal" not in signals:
        tapped.add("pedal")
        found += _tapped_presses(marks)
    return found, tapped


def _tapped_presses(marks: Marks) -> list[Happening]:
    """Each tapped press ends with the first release tapped after it and before the next press."""
    presses = marks.moments["press"]
    releases = marks.moments.get("release", ())
    found = []
    for index, begin in enumerate(presses):
        limit = presses[index + 1].best_s if index + 1 < len(presses) else float("inf")
        after = [at for at in releases if begin.best_s < at.best_s <= limit]
        end = after[0] if after else Moment(begin.low_s, limit)
        found.append(Happening("press", begin, Press(begin, end)))
    return found
