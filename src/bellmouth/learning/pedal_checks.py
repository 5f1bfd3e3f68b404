"""What the pedal must show: held to the floor, pressed so often, left alone in between."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bellmouth.learning.consistency import SHORTEST_PRESS_S
from bellmouth.learning.evidence import Evidence, Moment, Press
from bellmouth.learning.judgement import CANNOT_TELL, MET, MISSED, StepJudgement
from bellmouth.learning.place import Placed
from bellmouth.learning.procedure import Window
from bellmouth.learning.seen import Seen
from bellmouth.learning.windows import compare

__all__ = ["all_hidden", "no_gap", "pumped", "steady_hold"]

#: A press that no sample saw is looked for this far before the first seen and after the last. [s]
_AROUND_S = 1.5
#: Clocks are written to the millisecond. [s]
_HAIR_S = 0.002


def steady_hold(seen: Seen, item: Placed, line: StepJudgement) -> StepJudgement:
    """A hold must be to the floor and stay there, in samples close enough to show it."""
    if item.step.do != "press" or not item.presses:
        return line
    press = item.presses[-1]
    if press.depth == "shallow" or press.held == "eased":
        what = "was not on the floor" if press.depth == "shallow" else "was let up between"
        return replace(line, judgement=MISSED, margin=None, why=f"The pedal {what}.")
    unsure = press.depth == "unsure" or press.held == "unsure"
    if unsure and line.judgement != MISSED:
        why = "Whether the pedal was on the floor all the time, this recording cannot say."
        return replace(line, judgement=CANNOT_TELL, why=why)
    return no_gap(seen, press.begin, press.end, line, "it may have been let up")


def no_gap(
    seen: Seen, first: Moment, then: Moment, line: StepJudgement, danger: str
) -> StepJudgement:
    """Met only where the pedal's samples are too close together for a press to hide between.

    Nor is it missed by lasting too long where a press that would have ended it sooner, or begun it
    later, could hide.
    """
    if "pedal" not in seen.evidence.signals:
        why = (
            "The recording does not hold the pedal, which must not be touched here; if nobody did, "
            'mark "press": null.'
        )
        return replace(line, judgement=CANNOT_TELL, why=why) if line.judgement == MET else line
    widest = _widest_gap(seen.evidence, first.high_s, then.low_s)
    short = line.measured is not None and line.measured.high < line.window[0]
    hides = seen.shortest_press_s if line.judgement == MET else SHORTEST_PRESS_S
    if line.judgement == CANNOT_TELL or short or widest <= hides + _HAIR_S:
        return line
    why = f"The pedal was not sampled for {widest:.2f} s, in which {danger}."
    return replace(line, judgement=CANNOT_TELL, why=why)


def all_hidden(seen: Seen, item: Placed) -> str:
    """Why presses of which none was seen may have been made all the same; empty where not."""
    step, time = item.step, seen.evidence.pedal_s
    if step.do not in ("pump", "rev", "snap") or time is None:
        return ""
    begun = [one.end or one.begin for one in seen.before(item) if one.begin is not None]
    then = [one.begin for one in seen.after(item) if one.begin is not None]
    first_s = begun[-1].high_s if begun and begun[-1] is not None else seen.evidence.begin_s
    last_s = then[0].low_s if then else seen.evidence.end_s
    near = time[(time >= first_s) & (time <= last_s)]
    gaps = np.diff(near)
    if int(np.count_nonzero(gaps > SHORTEST_PRESS_S + _HAIR_S)) < step.times[0]:
        return ""
    return (
        f"The pedal was not sampled for {float(gaps.max()):.2f} s, in which a press may have come "
        "and gone."
    )


def _widest_gap(evidence: Evidence, begin_s: float, end_s: float) -> float:
    """Longest time without a sample of the pedal between two times; 0 for taps. [s]"""
    if evidence.pedal_s is None:
        return 0.0
    time = evidence.pedal_s
    first = int(np.searchsorted(time, begin_s))
    last = int(np.searchsorted(time, end_s, side="right"))
    inside = time[first:last]
    if inside.size < 2:
        return max(0.0, end_s - begin_s)
    return float(max(np.diff(inside).max(), inside[0] - begin_s, end_s - inside[-1]))


def pumped(seen: Seen, item: Placed) -> StepJudgement:
    """Presses: how many counted, and whether all fitted their time."""
    step = item.step
    light = step.do in ("rev", "snap")
    pressed = [*item.presses, *_strays(seen, item)]
    full = [press for press in pressed if light or press.depth != "shallow"]
    sure = [p for p in full if light or (p.depth == "full" and p.held == "down")]
    if not item.presses:
        assert item.begin is not None  # noqa: S101 - the caller looked
        return compare(Window(), item.begin, item.begin)
    span = sorted(full or pressed, key=lambda press: press.begin.best_s)
    window = Window(0.0, step.within_s)
    line = compare(window, span[0].begin, span[-1].end)
    least, most = step.times
    eased = sum(1 for press in full if press.held != "down")
    # A press that is missing may well hide in a gap; one too many that looks like none hardly.
    missing, extra = (
        len(full) + (0 if light else eased + _hidden(seen, item, span, shortest_s))
        for shortest_s in (SHORTEST_PRESS_S, seen.shortest_press_s)
    )
    wanted = str(least) if least == most else f"{least} to {most}"
    if missing < least or len(sure) > most:
        shallow = len(pressed) - len(full)
        note = f", {shallow} not to the floor" if shallow else ""
        why = f"{len(full)} full presses seen{note}; {wanted} wanted."
        return replace(line, judgement=MISSED, margin=None, why=why)
    if line.judgement == MISSED and _may_fit(window, span, sure, least):
        why = (
            f"{len(sure)} presses to the floor are certain, {missing} possible; {wanted} wanted. "
            "Without those in doubt they fit their time."
        )
        return replace(line, judgement=CANNOT_TELL, why=why)
    if line.judgement == MET and (len(sure) < least or extra > most):
        why = (
            f"{len(sure)} presses to the floor are certain, {missing} possible; {wanted} wanted. "
            "The pedal is sampled too coarsely to count them."
        )
        return replace(line, judgement=CANNOT_TELL, why=why)
    return line


def _may_fit(window: Window, span: Sequence[Press], sure: Sequence[Press], least: int) -> bool:
    """Whether they fit their time where the first or last of them, in doubt, were none."""
    kept = list(span)
    while len(kept) > least and not (kept[0] in sure and kept[-1] in sure):
        kept.pop(0 if kept[0] not in sure else -1)
    return (
        len(kept) < len(span) and compare(window, kept[0].begin, kept[-1].end).judgement != MISSED
    )


def _strays(seen: Seen, item: Placed) -> list[Press]:
    """Presses that belong to no step, so close to these that they are some too many."""
    if not item.presses:
        return []
    taken = [press for one in seen.placed.values() for press in one.presses]
    first_s = item.presses[0].begin.best_s - _AROUND_S
    last_s = item.presses[-1].end.best_s + _AROUND_S
    return [
        one.press
        for one in seen.evidence.happenings
        if one.kind == "press"
        and one.press is not None
        and one.press not in taken
        and first_s <= one.press.end.best_s
        and one.press.begin.best_s <= last_s
    ]


def _hidden(seen: Seen, item: Placed, presses: Sequence[Press], shortest_s: float) -> int:
    """How many presses could hide between samples, among those seen or next to them."""
    time = seen.evidence.pedal_s
    if time is None:
        return 0
    before = [one.begin.high_s for one in seen.before(item) if one.begin is not None]
    least = max(presses[0].begin.low_s - _AROUND_S, *before[-1:], time[0])
    begin = int(np.searchsorted(time, least))
    end = int(np.searchsorted(time, presses[-1].end.high_s + _AROUND_S, side="right"))
    gaps = np.diff(time[begin:end])
    return int(np.count_nonzero(gaps > shortest_s + _HAIR_S))
