"""An event that a step waits for: whether it came in time, and whether the hold lasted."""

import math
from dataclasses import replace

from bellmouth.learning.evidence import Moment
from bellmouth.learning.judgement import CANNOT_TELL, MET, MISSED, StepJudgement
from bellmouth.learning.pedal_checks import steady_hold
from bellmouth.learning.place import Placed
from bellmouth.learning.procedure import Window
from bellmouth.learning.seen import Seen
from bellmouth.learning.windows import compare

__all__ = ["awaited"]

_AT_ONCE = Moment(0.0, 0.0)


def awaited(seen: Seen, item: Placed) -> StepJudgement:
    """An event awaited: it must come in time, and a hold must last until then."""
    assert item.begin is not None  # noqa: S101 - the caller looked
    assert item.step.until is not None  # noqa: S101 - the caller looked
    until = item.step.until
    words = seen.procedure.event_words(until.event)
    event = seen.event(until.event, item)
    window = Window(0.0, until.timeout_s)
    held = item.presses[-1].end if item.step.do == "press" and item.presses else None
    if event is not None:
        # What stood already when the step began was waited for not at all.
        began, came = (_AT_ONCE, _AT_ONCE) if event == item.begin else (item.begin, event)
        line = steady_hold(seen, item, compare(window, began, came))
        return _stayed(seen, item, line, event, words)
    if until.event in seen.evidence.watched:
        line = compare(window, item.begin, held or _latest(item))
        why = f"It was never seen that {words}."
        return replace(line, judgement=MISSED, margin=None, why=why)
    return _unwatched(seen, item, words)


def _stayed(
    seen: Seen, item: Placed, line: StepJudgement, event: Moment, words: str
) -> StepJudgement:
    """A step that waits is over with its event: what comes next must not come before."""
    assert item.step.until is not None  # noqa: S101 - the caller looked
    held = item.presses[-1].end if item.step.do == "press" and item.presses else None
    left = held or _next_action(seen, item)
    if left is None or event == item.begin:
        return line
    early = f"{event.best_s - left.best_s:.1f}"
    if _comes_before(left, event):
        why = (
            f"Let go {early} s before {words}."
            if held
            else f"The next action came {early} s before {words}."
        )
        return replace(line, judgement=MISSED, margin=left.best_s - event.best_s, why=why)
    anchored = any(one.step.after == item.step.until.event for one in seen.answering(item))
    if _comes_before(event, left) or line.judgement != MET or anchored:
        # What counts from the event tells by its own window whether it came first.
        return line
    why = f"Which came first, the next action or that {words}, this recording cannot say."
    return replace(line, judgement=CANNOT_TELL, why=why)


def _comes_before(first: Moment, then: Moment) -> bool:
    """Whether it is certain that one came first; two marks are as late as each other."""
    if first.marked_s is not None and then.marked_s is not None:
        return first.marked_s < then.marked_s
    return first.high_s < then.low_s


def _next_action(seen: Seen, item: Placed) -> Moment | None:
    """What the person did next; a rest or an idle begins by itself."""
    return next(
        (one.begin for one in seen.after(item) if one.step.cues and one.begin is not None), None
    )


def _latest(item: Placed) -> Moment:
    assert item.begin is not None  # noqa: S101 - the caller looked
    return item.until or item.begin


def _unwatched(seen: Seen, item: Placed, words: str) -> StepJudgement:
    """Nobody watched: the length of the hold can still rule out that the event was awaited."""
    until = item.step.until
    assert until is not None  # noqa: S101 - the caller looked
    reaction = next(
        (
            one.step.after_s.most_s
            for one in seen.answering(item)
            if one.step.after == until.event and one.step.after_s is not None
        ),
        math.inf,
    )
    why = f'Nobody marked when {words}, and the recording does not show it; mark "{until.event}".'
    if item.step.do != "press" or not item.presses or item.begin is None:
        return StepJudgement("", CANNOT_TELL, None, (0.0, until.timeout_s), why=why)
    allowed = Window(until.earliest_s, until.timeout_s + reaction)
    line = steady_hold(seen, item, compare(allowed, item.begin, item.presses[-1].end))
    if line.judgement != MISSED:
        return replace(line, judgement=CANNOT_TELL, why=line.why or why)
    value = line.measured.value if line.measured else 0.0
    if not line.why:
        sooner = value < until.earliest_s
        line = replace(
            line,
            why=f"Held {value:.1f} s, {'too short to have waited' if sooner else 'too long after'}"
            f"{' until' if sooner else ''} {words}.",
        )
    return line
