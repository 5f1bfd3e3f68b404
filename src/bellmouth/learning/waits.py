"""Waits: from an anchor to an action, and from an action to the next."""

import math
from dataclasses import replace

from bellmouth.learning.evidence import Moment, between
from bellmouth.learning.judgement import CANNOT_TELL, MISSED, StepJudgement
from bellmouth.learning.pedal_checks import no_gap, steady_hold
from bellmouth.learning.place import Placed
from bellmouth.learning.procedure import Window
from bellmouth.learning.seen import Seen
from bellmouth.learning.windows import compare

__all__ = ["lasted", "waited"]


def waited(seen: Seen, item: Placed, window: Window) -> StepJudgement:
    """The time from the anchor to the action."""
    assert item.begin is not None  # noqa: S101 - the caller looked
    step = item.step
    anchor = step.after or _before(seen, item)
    if anchor in seen.placed:
        at = seen.placed[anchor].end
        if at is None:
            why = f'There is no "{anchor}" to count from.'
            return StepJudgement("", CANNOT_TELL, None, (window.least_s, window.most_s), why=why)
        return _let_up(seen, item, at, compare(window, at, item.begin))
    waiting = next(
        one
        for one in reversed(seen.before(item))
        if one.step.until and one.step.until.event == anchor
    )
    event = seen.event(anchor, waiting)
    if event is not None:
        return _let_up(seen, item, event, compare(window, event, item.begin))
    words = seen.procedure.event_words(anchor)
    why = (
        f"There was nothing to count from: not seen that {words}."
        if anchor in seen.evidence.watched
        else f'Nobody marked when {words}; mark it as "{anchor}".'
    )
    return StepJudgement("", CANNOT_TELL, None, (window.least_s, window.most_s), why=why)


def _before(seen: Seen, item: Placed) -> str:
    """The step before, by name; one that may be left out, and certainly was, is passed by."""
    before = seen.before(item)
    for one in reversed(before):
        unseen = one.seeable or one.step.name in seen.evidence.reasons
        if one.begin is not None or not one.step.optional or not unseen:
            return one.step.name
    return before[-1].step.name


def _let_up(seen: Seen, item: Placed, since: Moment, line: StepJudgement) -> StepJudgement:
    """Nobody let go too late for sure where the pedal was not sampled for long meanwhile."""
    if line.judgement == MISSED and line.measured is not None and line.measured.high < 0:
        sooner = f"It came {-line.measured.value:.1f} s before what it counts from."
        return replace(line, why=sooner)
    if item.step.do != "release" or item.begin is None or line.judgement != MISSED:
        return line
    return no_gap(seen, since, item.begin, line, "it may have been let up")


def lasted(seen: Seen, item: Placed, window: Window) -> StepJudgement:
    """How long the step lasted, until the next action."""
    step = item.step
    start = item.begin if step.do == "press" else item.end
    if start is None or item.until is None:
        why = "What ended it was not seen; mark the next step."
        return StepJudgement("", CANNOT_TELL, None, (window.least_s, window.most_s), why=why)
    if step.stopped_by:
        return _stopped_clock(seen, item, window, start)
    line = compare(window, start, item.until)
    if step.do == "press":
        return steady_hold(seen, item, line)
    cut = math.isinf(item.until.high_s) or math.isinf(start.low_s)
    if cut and line.judgement == CANNOT_TELL:
        ends = math.isinf(item.until.high_s)
        why = "ends before it was over" if ends else "begins after it began"
        return replace(line, why=f"The recording {why}.")
    if step.who == "pedal" or "pedal: press" in step.forbidden or _then_pedal(seen, item):
        return no_gap(seen, start, item.until, line, "a press may have come and gone")
    return line


def _then_pedal(seen: Seen, item: Placed) -> bool:
    """Whether the next step is the pedal's, so that an unseen press would end this one."""
    following = seen.after(item)
    return bool(following) and following[0].step.who == "pedal" and item.step.do == "on"


def _stopped_clock(seen: Seen, item: Placed, window: Window, start: Moment) -> StepJudgement:
    """A clock that stands still between two events, such as while the fan runs."""
    assert item.until is not None and item.step.stopped_by  # noqa: S101, PT018 - the caller looked
    stop, go = item.step.stopped_by
    whole = compare(window, start, item.until)
    if stop not in seen.evidence.watched:
        return _unmarked(seen, whole, stop)
    standing = _standing(seen, stop, go, start, item.until)
    if standing and go not in seen.evidence.watched:
        return _unmarked(seen, whole, go)
    best, least, most = (sum(column) for column in zip((0.0, 0.0, 0.0), *standing, strict=True))
    moved = Moment(item.until.low_s - most, item.until.high_s - least, item.until.best_s - best)
    return compare(window, start, moved)


def _unmarked(seen: Seen, whole: StepJudgement, event: str) -> StepJudgement:
    """Nobody told of an event that stops the clock, or lets it run on."""
    short = whole.measured is not None and whole.measured.high < whole.window[0]
    if whole.judgement == MISSED and short:
        return whole
    words = seen.procedure.event_words(event)
    return replace(
        whole, judgement=CANNOT_TELL, margin=None, why=f'Nobody marked when {words}: "{event}".'
    )


def _standing(
    seen: Seen, stop: str, go: str, start: Moment, until: Moment
) -> list[tuple[float, float, float]]:
    """Each time the clock stood still within a step: best figure, least, most. [s]

    What stops it may have come before the step, as the fan's start that ended the one before.
    """
    events = seen.evidence.events
    told = [(at, True) for at in events.get(stop, ())] + [(at, False) for at in events.get(go, ())]
    found, since = [], None
    for at, stops in sorted(told, key=lambda one: one[0].best_s):
        if not seen.begins_s <= at.best_s < until.best_s:
            continue
        if stops:
            since = since or at
        elif since is not None and at.best_s > start.best_s:
            found.append(_within(since, at, start))
            since = None
        else:
            since = None
    if since is not None:
        found.append(_within(since, until, start))
    return found


def _within(since: Moment, then: Moment, start: Moment) -> tuple[float, float, float]:
    """How long a standstill lasted, of which nothing counts from before the step. [s]"""
    begin = start if since.best_s < start.best_s else since
    value, low, high = between(begin, then)
    return value, max(low, 0.0), high
