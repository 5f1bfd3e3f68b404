"""The procedure as lines for a caller to read and a doer to follow, with cumulative seconds."""

import math
from dataclasses import dataclass

from bellmouth.learning.procedure import Procedure, Step, Window
from bellmouth.learning.schedule import Stretch, press_rhythm, stretches

__all__ = ["CallLine", "call_script"]


@dataclass(frozen=True, slots=True)
class CallLine:
    """One call.

    Attributes
    ----------
    at_s
        Since the first action, or since the event that ``since`` names. [s]
    since
        The event in words that the time counts from; empty for the first action.
    step
        The step.
    lasts
        Window on how long it lasts, or None.
    ends_s
        When the next call comes, infinite where an event decides. [s]
    presses_s
        When each press is called, for several. [s]
    awaits
        The event in words that ends it, with the longest wait; empty for none. [s]
    after
        What ``step.after_s`` counts from, in words.
    """

    at_s: float
    since: str
    step: Step
    lasts: Window | None
    ends_s: float
    presses_s: tuple[float, ...] = ()
    awaits: str = ""
    longest_s: float = math.inf
    after: str = "the step before"


def call_script(procedure: Procedure) -> tuple[CallLine, ...]:
    """Every call in order; after an event that must be awaited the seconds begin again at 0."""
    return tuple(line for stretch in stretches(procedure) for line in _lines(procedure, stretch))


def _lines(procedure: Procedure, stretch: Stretch) -> list[CallLine]:
    since = procedure.event_words(stretch.anchor) if stretch.anchor else ""
    lines: list[CallLine] = []
    for slot in stretch.slots:
        step = slot.step
        until = step.until
        lines.append(
            CallLine(
                slot.begin_s,
                since,
                step,
                step.lasts_s or step.after_s,
                slot.end_s,
                _presses(step, slot.begin_s),
                procedure.event_words(until.event) if until else "",
                until.timeout_s if until else math.inf,
                _anchor_words(procedure, step),
            )
        )
    return lines


def _anchor_words(procedure: Procedure, step: Step) -> str:
    for other in procedure.steps:
        if other.name == step.after:
            return f'"{other.say}"'
    return procedure.event_words(step.after) if step.after else "the step before"


def _presses(step: Step, begin_s: float) -> tuple[float, ...]:
    if step.times[0] < 2:
        return ()
    beat, _ = press_rhythm(step)
    return tuple(begin_s + beat * count for count in range(step.times[0]))
