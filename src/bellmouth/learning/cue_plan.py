"""The cues of a stretch: what is said when, on the same time line as its actions.

Into each action leads "three, two, one, now"; between actions a tick marks each second, counted
back from the action, so that the person hears one steady beat run into it.
"""

import math
from collections.abc import Iterator

from bellmouth.learning.cues import Cue, phrase
from bellmouth.learning.procedure import Procedure, Step
from bellmouth.learning.schedule import Edge, Leads, Slot, Stretch, lead_of

__all__ = ["COUNT_IN_S", "cue_s", "cues_of"]

#: From the start to the first action: time to put a hand on the key and a foot on the pedal. [s]
COUNT_IN_S = 8.0
#: A cue this soon after an action would be lost in it. [s]
_CLEAR_S = 0.45
#: The next action is named this long before it, where there is room. [s]
_NAMED_S = 6.0
#: A tick each second in the last so many; further out, minutes are told. [s]
_TICKING_S = 60.0
_LEAD_WORDS = ((3, "three"), (2, "two"), (1, "one"))
_SOON_S, _LAST_S = 3.0, 5.0


def cue_s(edge: Edge, leads: Leads) -> float:
    """When "now" is said for an action: earlier by the lead of its kind. [s]

    A reaction has no lead: it is called as soon as its event is known, at 0.
    """
    return 0.0 if edge.kind == "react" else edge.at_s - lead_of(edge, leads)


def cues_of(
    procedure: Procedure, stretch: Stretch, leads: Leads, *, quiet: bool = False
) -> tuple[Cue, ...]:
    """Every cue of a stretch in order of time, relative to its beginning. [s]

    With ``quiet`` nothing sounds. Steps in which the plate is listened for are silent anyway.
    """
    found: list[Cue] = []
    start_s = -COUNT_IN_S if not stretch.anchor else -math.inf
    if not stretch.anchor:
        found.append(Cue(start_s, "say", phrase("ready")))
    before_s = start_s
    for index, edge in enumerate(stretch.edges):
        at_s = cue_s(edge, leads)
        if edge.number == 0 or (edge.number == 1 and edge.action == "press"):
            found += _into(
                procedure, stretch, index, at_s, max(before_s, 0.0 if stretch.anchor else start_s)
            )
        else:
            found.append(_beat(edge, index, at_s))
        before_s = at_s
    for slot in stretch.slots:
        found += _during(procedure, slot)
    found += _to_the_end(stretch, before_s)
    hushed = [_hushed(stretch, cue, quiet=quiet) for cue in found]
    return tuple(sorted(hushed, key=lambda cue: cue.at_s))


def _into(
    procedure: Procedure, stretch: Stretch, index: int, at_s: float, before_s: float
) -> Iterator[Cue]:
    """Name, ticks, lead-in and "now" of one action, from the action before it."""
    edge = stretch.edges[index]
    step = procedure.step(edge.step)
    yield Cue(at_s, "now", step.say, edge.tone, edge.step, edge=index)
    free_s = before_s + _CLEAR_S
    words = dict(_LEAD_WORDS)
    count = 1
    while at_s - count >= free_s and count < _TICKING_S:
        word = words.get(count)
        kind, tone = ("lead", "lead") if word else ("tick", "tick")
        text = phrase(word) if word else ""
        yield Cue(at_s - count, kind, text, tone, edge.step, edge=index)  # type: ignore[arg-type]
        count += 1
    gap_s = at_s - before_s
    if edge.kind != "react" and gap_s > 1.0:
        named_s = max(at_s - _NAMED_S, before_s + min(_CLEAR_S, 0.25 * gap_s)) + 0.01
        yield Cue(named_s, "say", phrase("next", what=step.say), "", edge.step, edge=index)
    if gap_s > _TICKING_S:
        yield from _minutes(step, at_s, before_s, index)


def _minutes(step: Step, at_s: float, before_s: float, index: int) -> Iterator[Cue]:
    """Long waits are told by the minute."""
    left = int((at_s - before_s) / 60.0)
    for minutes in range(left, 0, -1):
        told_s = at_s - 60.0 * minutes
        # Hours are not told minute by minute.
        if told_s > before_s + 1.0 and (minutes <= 10 or minutes % 10 == 0):
            text = phrase("minutes", count=minutes)
            yield Cue(told_s + 0.02, "say", text, "", step.name, edge=index)


def _beat(edge: Edge, index: int, at_s: float) -> Cue:
    text = str(edge.number) if edge.action == "press" else ""
    return Cue(at_s, "beat", text, edge.tone, edge.step, edge=index)


def _during(procedure: Procedure, slot: Slot) -> Iterator[Cue]:
    """What is said of a step itself: a wait begins by itself, an event is listened for."""
    step = slot.step
    if not step.cues:
        yield Cue(slot.begin_s, "now", step.say, "wait", step.name)
    if step.until is None:
        return
    key = "hush" if step.until.event == "plate_moves" else "watch"
    text = phrase(key, event=procedure.event_words(step.until.event))
    yield Cue(slot.begin_s + 1.2, "say", text, "", step.name)
    awaited = math.isinf(slot.end_s)
    about = step.until.about_s
    if awaited and about is not None and about > 3.0 * _SOON_S:
        yield Cue(slot.begin_s + about - _SOON_S, "soon", phrase("soon"), "lead", step.name)
    if awaited:
        last = slot.begin_s + step.until.timeout_s - _LAST_S
        text = phrase("last_seconds", count=f"{_LAST_S:g}")
        yield Cue(last, "say", text, "", step.name)


def _to_the_end(stretch: Stretch, before_s: float) -> Iterator[Cue]:
    """Ticks while an event is awaited, or until the last step's own time is over."""
    last = stretch.slots[-1]
    if math.isinf(last.end_s):
        wait_s = min(last.step.until.timeout_s if last.step.until else 0.0, _TICKING_S)
        for second in range(1, math.floor(wait_s) + 1):
            yield Cue(last.begin_s + second, "tick", "", "tick", last.step.name)
        return
    count = 0
    while last.end_s - count >= before_s + _CLEAR_S and 0 <= count < _TICKING_S:
        if count:
            yield Cue(last.end_s - count, "tick", "", "tick", last.step.name)
        count += 1
    if last.end_s - before_s > _TICKING_S:
        yield from _minutes(last.step, last.end_s, before_s, -1)


def _hushed(stretch: Stretch, cue: Cue, *, quiet: bool) -> Cue:
    """The cue, silent where the plate has to be heard."""
    silent = quiet or any(_listening(slot, cue.at_s) for slot in stretch.slots)
    if not silent or (cue.kind in ("now", "beat") and not quiet):
        return cue
    return Cue(cue.at_s, cue.kind, cue.text, cue.tone, cue.step, sounds=False, edge=cue.edge)


def _listening(slot: Slot, at_s: float) -> bool:
    until = slot.step.until
    if until is None or until.event != "plate_moves":
        return False
    # "Hush now" itself is spoken, and silence follows.
    return slot.begin_s + 1.5 < at_s < slot.begin_s + until.timeout_s
