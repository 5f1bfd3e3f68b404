"""What probably happened instead, and what to do now: repeat, or mend a condition first."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from bellmouth.learning.judgement import (
    CANNOT_TELL,
    MET,
    MISSED,
    ConditionJudgement,
    StepJudgement,
)
from bellmouth.learning.packs import packs
from bellmouth.learning.place import Placed
from bellmouth.learning.procedure import Procedure, Step

__all__ = ["Outcome", "outcome"]


#: So many missed steps are named.
_MOST_NAMED = 4


@dataclass(frozen=True, slots=True)
class Outcome:
    """The likely consequence, ``repeat``, ``mend first`` or nothing, and advice in sentences."""

    consequence: str
    repeat: str
    advice: str


def outcome(
    procedure: Procedure,
    judgement: str,
    steps: Sequence[StepJudgement],
    conditions: Sequence[ConditionJudgement],
    placed: Sequence[Placed],
    others: Iterable[Procedure] | None,
) -> Outcome:
    """Consequence and advice for one attempt; ``others`` None for the packs."""
    if judgement == MET:
        return Outcome("", "", _met(procedure, conditions))
    broken = [line for line in conditions if line.judgement == MISSED]
    missed = [line for line in steps if line.judgement == MISSED and not line.optional]
    if broken:
        return _cancelled(procedure, broken[0], missed)
    if missed:
        return _missed(procedure, missed, placed, others)
    return Outcome("", "", _unknown(steps, conditions, placed, procedure, others))


def _met(procedure: Procedure, conditions: Sequence[ConditionJudgement]) -> str:
    unseen = [line.say for line in conditions if line.judgement == CANNOT_TELL]
    told = ["Every window was met."]
    if unseen:
        told.append(f"Not seen in the recording, so yours to confirm: {'; '.join(unseen)}.")
    told += [f"Sign that it took, {sign.how}: {sign.what}" for sign in procedure.signs]
    return " ".join(told)


def _cancelled(
    procedure: Procedure, broken: ConditionJudgement, missed: Sequence[StepJudgement]
) -> Outcome:
    say = broken.say[:1].lower() + broken.say[1:]
    consequence = f"Probably cancelled, without a sign: it must stand that {say}. {broken.why}"
    mend = broken.mend or f"See to it first: {say}."
    told = [f"Mend that first, then repeat. {mend}"]
    if missed:
        told.append(f"The timing was missed as well: {_named(procedure, missed)}.")
        told += _whys(procedure, missed)
    told.append(f"Between goes: {procedure.safe_state}")
    return Outcome(consequence, "mend first", " ".join(told))


def _missed(
    procedure: Procedure,
    missed: Sequence[StepJudgement],
    placed: Sequence[Placed],
    others: Iterable[Procedure] | None,
) -> Outcome:
    first = missed[0]
    step = _step_of(procedure, first)
    other = _fell_into(procedure, step, placed, others)
    if other is not None:
        consequence = (
            f'It probably fell into "{other.title}", which has the same beginning; how long the '
            "pedal is held decides which it is."
        )
        if other.erases:
            consequence += f" That erases {_list(other.erases)}."
    elif _power_too_soon(procedure, step, first):
        consequence = f"Probably not stored, because power came back too soon. {step.if_missed}"
    else:
        consequence = step.if_missed
    told = [f"Repeat it. Missed: {_named(procedure, missed)}."]
    told += [*_whys(procedure, missed), _advice_for(step, first)]
    told.append(f"Between goes: {procedure.safe_state}")
    return Outcome(consequence.strip(), "repeat", " ".join(part for part in told if part))


def _unknown(
    steps: Sequence[StepJudgement],
    conditions: Sequence[ConditionJudgement],
    placed: Sequence[Placed],
    procedure: Procedure,
    others: Iterable[Procedure] | None,
) -> str:
    open_steps = [line for line in steps if line.judgement == CANNOT_TELL and not line.optional]
    reasons = [
        f"Step {_place(procedure, line)}: {line.why or 'too close to call.'}" for line in open_steps
    ]
    reasons += [
        f"{line.say}: {line.why}"
        for line in conditions
        if line.judgement == CANNOT_TELL and line.seen
    ]
    told = [f"This cannot be told. {' '.join(reasons)}"]
    if open_steps:
        step = _step_of(procedure, open_steps[0])
        other = _fell_into(procedure, step, placed, others)
        if other is not None:
            told.append(f'The hold is rather that of "{other.title}", with the same beginning.')
    told.append("Look for the sign that it took before doing it again.")
    told += [f"Sign, {sign.how}: {sign.what}" for sign in procedure.signs]
    return " ".join(told)


def _step_of(procedure: Procedure, line: StepJudgement) -> Step:
    return procedure.step(line.step.partition(":")[0])


def _named(procedure: Procedure, missed: Sequence[StepJudgement]) -> str:
    return "; ".join(
        f"step {_place(procedure, line)}"
        if line.why
        else f"step {_place(procedure, line)} ({_by(line)})"
        for line in missed[:_MOST_NAMED]
    )


def _whys(procedure: Procedure, missed: Sequence[StepJudgement]) -> list[str]:
    """Sentences for the steps that more than a time is wrong with."""
    return [
        f"Step {_place(procedure, line)}: {line.why}" for line in missed[:_MOST_NAMED] if line.why
    ]


def _place(procedure: Procedure, line: StepJudgement) -> str:
    """The step's number and words, for two steps may be called alike."""
    step = _step_of(procedure, line)
    return f"{procedure.steps.index(step) + 1}, {step.say}"


def _by(line: StepJudgement) -> str:
    if line.margin is None or line.measured is None:
        return "not done"
    least, most = line.window
    off = -line.margin
    early = line.measured.value < least
    wanted = f"{least:g} s or more" if math.isinf(most) else f"{least:g} to {most:g} s"
    return f"{line.measured.value:.1f} s, {off:.1f} s too {'short' if early else 'long'}: {wanted}"


def _advice_for(step: Step, line: StepJudgement) -> str:
    """What to do differently, where it is more than the figure."""
    if step.do == "pump" and "floor" in line.why:
        return "Press to the floor; look whether the mat is in the way."
    if step.until is not None and "never seen" in line.why and step.until.event.startswith("lamp"):
        return (
            "If the lamp never blinks at all: presses, wait, key position or the pedal's sensor. "
            "If it blinks but never stays on: a condition, a leak, or an idle out of reach."
        )
    return ""


def _power_too_soon(procedure: Procedure, step: Step, line: StepJudgement) -> bool:
    """Key off cut short after something that had to be stored."""
    short = line.measured is not None and line.measured.value < line.window[0]
    return step.who == "key" and step.do == "off" and short and step is not procedure.steps[0]


def _fell_into(
    procedure: Procedure, step: Step, placed: Sequence[Placed], others: Iterable[Procedure] | None
) -> Procedure | None:
    """Another procedure with the same beginning, whose hold this one is more like."""
    if step.do == "release":
        names = [one.name for one in procedure.steps]
        held = [one for one in procedure.steps[: names.index(step.name)] if one.do == "press"]
        step = held[-1] if held else step
    item = next((one for one in placed if one.step.name == step.name), None)
    if step.do != "press" or item is None or not item.presses:
        return None
    held_s = item.presses[-1].lasted_s
    own = abs(held_s - _usual_hold_s(step))
    mine = _beginning(procedure.steps[: procedure.steps.index(step) + 1])
    for other in packs() if others is None else others:
        if other.name == procedure.name:
            continue
        for index, theirs in enumerate(other.steps):
            alike = theirs.do == "press" and _beginning(other.steps[: index + 1]) == mine
            if alike and abs(held_s - _usual_hold_s(theirs)) < own:
                return other
    return None


def _beginning(steps: Sequence[Step]) -> tuple[tuple[str, str, tuple[int, int]], ...]:
    """Who does what how often, from the last key on."""
    actions = [(step.who, step.do, step.times) for step in steps]
    keys = [index for index, action in enumerate(actions) if action[:2] == ("key", "on")]
    return tuple(actions[keys[-1] :] if keys else actions)


def _usual_hold_s(step: Step) -> float:
    return step.aim_s


def _list(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
