"""The lines of a judgement: each window of each step, or why there is nothing to measure."""

import math
from collections.abc import Sequence
from dataclasses import replace

from bellmouth.learning.awaiting import awaited
from bellmouth.learning.evidence import Evidence, Moment
from bellmouth.learning.judgement import CANNOT_TELL, MET, MISSED, StepJudgement
from bellmouth.learning.pedal_checks import all_hidden, pumped, steady_hold
from bellmouth.learning.place import Placed
from bellmouth.learning.procedure import Procedure, Step, Window
from bellmouth.learning.seen import Seen, seen_of
from bellmouth.learning.waits import lasted, waited
from bellmouth.learning.windows import compare

__all__ = ["compare", "judge_steps"]

#: How long a recording goes on until a step that has no window of its own was not done. [s]
_ALLOWED_S = 10.0
#: What was done shows this much later at the latest: readings may come seldom. [s]
_SHOWS_S = 5.0

_MISSING = {
    "key": "the key's state",
    "pedal": "the pedal",
    "engine": "engine_speed",
}


def judge_steps(
    evidence: Evidence, procedure: Procedure, placed: Sequence[Placed]
) -> tuple[StepJudgement, ...]:
    """The lines of a judgement, one a window, in the order of the procedure."""
    seen = seen_of(evidence, procedure, placed)
    return tuple(line for item in placed for line in _lines(seen, item))


def _lines(seen: Seen, item: Placed) -> list[StepJudgement]:
    """One step's lines, the main one first; optional and replaced steps never count as missed."""
    step = item.step
    found: list[StepJudgement] = []
    if item.begin is None:
        found.append(_unseen(seen, item))
    else:
        if step.after_s is not None:
            found.append(waited(seen, item, step.after_s))
        if step.until is not None:
            found.append(awaited(seen, item))
        if step.do in ("pump", "rev", "snap"):
            found.append(pumped(seen, item))
        if step.lasts_s is not None:
            found.append(_doubted(seen, item, lasted(seen, item, step.lasts_s)))
        if not found:
            found.append(_doubted(seen, item, _happened(seen, item)))
        found[-1] = _unwatched(seen, item, _spoiled(item, found[-1]))
    at_s = item.begin.best_s if item.begin is not None else None
    return [
        replace(
            _unseamed(seen.evidence, line, at_s),
            step=step.name if number == 0 else f"{step.name}: {_second(step)}",
            optional=step.optional,
            at_s=at_s,
        )
        for number, line in enumerate(found)
    ]


def _unseamed(evidence: Evidence, line: StepJudgement, at_s: float | None) -> StepJudgement:
    """A time over which the clock began again is known to nobody."""
    if at_s is None or line.measured is None:
        return line
    # It runs up to the step's own action, or on from it; a mark may lie in the seam itself.
    value = abs(line.measured.value)
    spans = any(at_s - value < first and last < at_s + value for last, first in evidence.seams)
    if not spans:
        return line
    why = "The recording's clock began again meanwhile, so nobody knows how long this took."
    return replace(line, judgement=CANNOT_TELL, measured=None, margin=None, why=why)


def _second(step: Step) -> str:
    return "lasts" if step.lasts_s is not None else "presses"


def _unseen(seen: Seen, item: Placed) -> StepJudgement:
    """A step of which there is no trace: missed where it would have shown, else cannot tell."""
    why = _excuse(seen, item)
    if why:
        return StepJudgement("", CANNOT_TELL, None, _window_of(item.step), why=why)
    if item.step.do in ("rest", "release", "idle"):
        why = "What comes before it was not seen."
        return StepJudgement("", _follows(seen, item), None, _window_of(item.step), why=why)
    why = f"Not done: {_small(item.step.say)}."
    return StepJudgement("", MISSED, None, _window_of(item.step), why=why)


def _excuse(seen: Seen, item: Placed) -> str:
    """Why a step without a trace need not be missed; empty where it is."""
    step = item.step
    reason = seen.evidence.reasons.get(step.name)
    if reason:
        return _sentence(
            f"{f'replaced by {step.instead}' if step.instead else 'left out'}: {reason}"
        )
    if step.optional:
        return "Optional, and not seen."
    if not item.seeable:
        what = _MISSING.get(step.who)
        told = f"The recording does not hold {what}" if what else "Only a person can tell"
        return f'{told}; mark it as "{step.name}".'
    if step.do in ("rest", "release", "idle"):
        return ""
    if _before_recording(seen, item):
        return "It would lie before the recording begins."
    ended = "The recording ends before it." if _after_recording(seen, item) else ""
    return ended or all_hidden(seen, item)


def _follows(seen: Seen, item: Placed) -> str:
    """A step that follows from one before is missed with it."""
    needed = next((one for one in reversed(seen.before(item)) if one.step.cues), None)
    if needed is None or not needed.seeable or needed.begin is not None:
        return CANNOT_TELL
    return CANNOT_TELL if _excuse(seen, needed) else MISSED


def _window_of(step: Step) -> tuple[float, float]:
    window = step.lasts_s or step.after_s or Window(0.0, step.within_s)
    return window.least_s, window.most_s


def _before_recording(seen: Seen, item: Placed) -> bool:
    """A first step with the key off leaves no trace where the recording begins with the key on."""
    if any(one.begin is not None for one in seen.before(item)):
        return False
    first = next((one.begin for one in seen.after(item) if one.begin is not None), None)
    return first is not None and math.isinf(first.low_s)


def _after_recording(seen: Seen, item: Placed) -> bool:
    """Nothing at all happened after the steps seen: the recording ended, not the attempt."""
    if any(one.begin is not None for one in seen.after(item)):
        return False
    begun = [one for one in seen.before(item) if one.begin is not None]
    if not begun or item.step.who == "key" or item.step.do in ("pump", "press"):
        # Turning the key off ends the recording; presses are looked for in what there is.
        return bool(begun) and item.step.who == "key"
    allowed_s = item.step.after_s.most_s if item.step.after_s else _ALLOWED_S
    return seen.evidence.end_s - _over_s(seen, item, begun[-1]) < allowed_s + _SHOWS_S


def _over_s(seen: Seen, item: Placed, last: Placed) -> float:
    """From when a step that was not seen was due, as far as the last one that was seen tells. [s]

    A step that waits for nothing else is over by itself, however long the recording goes on.
    """
    assert last.end is not None  # noqa: S101 - it was seen
    ended_s = last.until.best_s if last.until is not None else last.end.best_s
    before = seen.before(item)[-1]
    counts_on = before is last and item.step.after in ("", last.step.name)
    if last.step.until is not None or last.step.stopped_by or not counts_on:
        return ended_s
    lasts = last.step.lasts_s or Window(0.0, 0.0)
    longest_s = lasts.most_s if math.isfinite(lasts.most_s) else lasts.least_s
    return min(ended_s, last.end.high_s + longest_s)


def _happened(seen: Seen, item: Placed) -> StepJudgement:
    """A step without a window: done is met; its time since the attempt began is shown."""
    assert item.begin is not None  # noqa: S101 - the caller looked
    begun = Moment(seen.begins_s, seen.begins_s)
    line = compare(Window(), begun, item.begin)
    return replace(steady_hold(seen, item, replace(line, judgement=MET)), margin=None)


def _doubted(seen: Seen, item: Placed, line: StepJudgement) -> StepJudgement:
    """Half a press belongs to no step: where it matters whether it counts, nobody can tell."""
    by, window = item.doubt, item.step.lasts_s
    if by is None or line.judgement != MET:
        return line
    if item.step.do != "rest":
        ended = replace(item, until=by.at, ended_by=by, own=False, doubt=None)
        if window is None or lasted(seen, ended, window).judgement == MET:
            return line
    why = (
        f"The pedal was pressed at {by.at.best_s:.1f} s, which belongs to no step. Whether it was "
        "to the floor, or the car takes half a press for one, nobody can say."
    )
    return replace(line, judgement=CANNOT_TELL, why=why)


def _spoiled(item: Placed, line: StepJudgement) -> StepJudgement:
    """Something happened that belongs to no step: a press too many, an action forbidden here."""
    by = item.ended_by
    if by is None or item.own:
        return line
    actions = {
        "press": "pedal: press",
        "touch": "pedal: press",
        "engine_start": "engine: start",
        "key_off": "key: off",
        "key_on": "key: on",
    }
    action = actions.get(by.kind, "")
    resting = item.step.do == "rest" and by.kind == "press"
    forbidden = action in item.step.forbidden
    # An idle that has lasted long enough is over; what comes then spoils nothing.
    over = item.step.do == "idle" and line.judgement == MET
    if over or not (resting or forbidden):
        return line
    words = {"press": "The pedal was pressed", "touch": "The pedal was touched"}
    what = words.get(by.kind, f"{_sentence(by.kind.replace('_', ' '))[:-1]} came")
    why = f"{what} at {by.at.best_s:.1f} s, which belongs to no step."
    if item.step.do == "idle" and _may_be_over(line):
        why += " Whether the idle had lasted long enough by then, this recording cannot say."
        return replace(line, judgement=CANNOT_TELL, why=why)
    return replace(line, judgement=MISSED, why=why)


def _unwatched(seen: Seen, item: Placed, line: StepJudgement) -> StepJudgement:
    """A start that nothing would have shown is not known not to have come."""
    banned = "engine: start" in item.step.forbidden and "engine" not in seen.evidence.signals
    if not banned or line.judgement != MET:
        return line
    why = (
        "The recording does not hold engine_speed, and the engine must not be started here; if "
        'nobody did, mark "engine_start": null.'
    )
    return replace(line, judgement=CANNOT_TELL, why=why)


def _may_be_over(line: StepJudgement) -> bool:
    """Whether what was measured, as coarsely as it was sampled, may have reached its least."""
    least = line.window[0]
    if line.measured is None or least is None:
        return False
    return line.measured.high >= least


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith(".") else f"{text}."
