"""Where each step of an attempt lies in time: when it began, and what ended it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from bellmouth.learning.align import Alignment
from bellmouth.learning.evidence import SIGNALS, Evidence, Happening, Moment, Press
from bellmouth.learning.procedure import Procedure, Step

__all__ = ["Placed", "place"]


@dataclass(frozen=True, slots=True)
class Placed:
    """One step in time.

    Attributes
    ----------
    step
        The step.
    begin
        Its action, or None where it was not seen.
    end
        From where the time to the next step counts: the last release of a pump, else ``begin``.
    until
        The next thing that happened after ``end``; open where the recording ends before.
    ended_by
        What that was, or None where the recording ended.
    own
        Whether what ended it belongs to the next step rather than to none.
    presses
        The presses that belong to it.
    seeable
        Whether a signal or a tap would have shown it.
    doubt
        A press before ``until`` that belongs to no step and was not to the floor for certain: it
        may have ended the step or not.
    """

    step: Step
    begin: Moment | None
    end: Moment | None
    until: Moment | None = None
    ended_by: Happening | None = None
    own: bool = True
    presses: tuple[Press, ...] = ()
    seeable: bool = True
    doubt: Happening | None = None


def place(evidence: Evidence, procedure: Procedure, alignment: Alignment) -> tuple[Placed, ...]:
    """Every step of the procedure, in order, with what the alignment and the taps say of it."""
    placed: list[Placed] = []
    for index, step in enumerate(procedure.steps):
        placed.append(_begun(evidence, alignment, step, placed, procedure.steps[index + 1 :]))
    assigned = {id(item) for items in alignment.steps.values() for item in items}
    return tuple(
        _ended(evidence, placed, index, assigned, alignment) for index in range(len(placed))
    )


def _begun(
    evidence: Evidence,
    alignment: Alignment,
    step: Step,
    before: Sequence[Placed],
    after: Sequence[Step],
) -> Placed:
    taken = alignment.steps.get(step.name, ())
    seeable = step.who in evidence.signals
    if taken:
        presses = tuple(item.press for item in taken if item.press is not None)
        end = presses[-1].end if len(taken) > 1 or step.do in ("pump", "rev", "snap") else None
        # Half a press before the first does not begin them.
        full = (item.at for item in taken if item.press is None or item.press.depth != "shallow")
        begin = next(full, taken[0].at) if step.do == "pump" else taken[0].at
        return Placed(step, begin, end or begin, presses=presses)
    tap = _tap(evidence, step, before)
    if tap is not None:
        return Placed(step, tap, tap)
    previous = before[-1] if before else None
    if step.do == "release":
        held = next((item for item in reversed(before) if item.step.do == "press"), None)
        end = held.presses[-1].end if held and held.presses else None
        return Placed(step, end, end, presses=held.presses if held else (), seeable=seeable)
    if step.do == "rest":
        at = previous.end if previous else None
        if previous is not None and previous.presses:
            at = previous.presses[-1].end
        return Placed(step, at, at, seeable=seeable)
    if step.do == "idle":
        at = _running_since(evidence, alignment, previous, after)
        return Placed(step, at, at, seeable=seeable)
    return Placed(step, None, None, seeable=seeable)


def _tap(evidence: Evidence, step: Step, before: Sequence[Placed]) -> Moment | None:
    """The first tap under the step's own name after the step before."""
    earlier = [item.begin.best_s for item in before if item.begin is not None]
    least = earlier[-1] if earlier else -math.inf
    taps = evidence.taps.get(step.name, ())
    return next((tap for tap in taps if tap.best_s >= least), None)


def _running_since(
    evidence: Evidence, alignment: Alignment, previous: Placed | None, after: Sequence[Step]
) -> Moment | None:
    """From when the engine ran: the step before if that started it, else the last start."""
    if previous is not None and previous.step.who == "engine" and previous.begin is not None:
        start = alignment.steps.get(previous.step.name)
        return start[0].then if start else previous.begin
    if previous is not None:
        return previous.end if previous.step.who != "engine" else None
    following = [
        alignment.steps[step.name][0].at.best_s for step in after if step.name in alignment.steps
    ]
    limit = following[0] if following else math.inf
    starts = [
        item.then
        for item in evidence.happenings
        if item.kind == "engine_start" and item.then is not None and item.at.best_s < limit
    ]
    return starts[-1] if starts else None


def _ended(
    evidence: Evidence,
    placed: Sequence[Placed],
    index: int,
    assigned: set[int],
    alignment: Alignment,
) -> Placed:
    """The same step with what ended it."""
    this = placed[index]
    if this.end is None:
        return this
    start = this.presses[-1].begin if this.step.do == "press" and this.presses else this.end
    if this.step.do == "press" and this.presses:
        return _with_end(this, this.presses[-1].end, None, own=True)
    following = placed[index + 1].begin if index + 1 < len(placed) else None
    if this.step.who not in SIGNALS or _blind(placed, index):
        return _with_end(this, following, None, own=True)
    mine = {id(item) for item in alignment.steps.get(this.step.name, ())}
    for item in evidence.happenings:
        later = item.at.best_s > start.best_s and id(item) not in mine
        if later and _ends(this.step, item):
            if following is not None and following.best_s < item.at.best_s:
                break
            sooner = following is not None and item.at.best_s < following.best_s
            own = id(item) in assigned
            if (sooner or not own) and _is_doubtful(this.step, item):
                this = replace(this, doubt=this.doubt or item)
                continue
            return _with_end(this, item.at, item, own=own)
    if following is not None and following.best_s > start.best_s:
        return _with_end(this, following, None, own=True)
    return _with_end(this, Moment(max(evidence.end_s, start.best_s), math.inf), None, own=False)


def _blind(placed: Sequence[Placed], index: int) -> bool:
    """Whether what ends a step is something that no signal shows."""
    if index + 1 == len(placed) or (placed[index].step.who, placed[index].step.do) == (
        "key",
        "off",
    ):
        return False
    following = placed[index + 1]
    return not (following.seeable or following.step.optional)


def _ends(step: Step, item: Happening) -> bool:
    """Whether a happening can end the time that a step lasts."""
    if step.who == "key" and step.do == "off":
        return item.kind == "key_on"
    # A light touch matters only where the pedal is forbidden.
    return item.kind != "touch" or "pedal: press" in step.forbidden


def _is_doubtful(step: Step, item: Happening) -> bool:
    """Half a press: nobody knows whether the car takes it for one. Where none may be, it is."""
    half = item.press is not None and item.kind == "press" and item.press.depth != "full"
    return half and "pedal: press" not in step.forbidden


def _with_end(this: Placed, until: Moment | None, by: Happening | None, *, own: bool) -> Placed:
    return replace(this, until=until, ended_by=by, own=own)
