"""Whether a procedure can be met at all: its windows as one network of time differences.

Every window bounds the time between two moments, so all of them together are a simple temporal
network [1]_: it has a schedule if and only if its distance graph has no negative cycle.

References
----------
.. [1] R. Dechter, I. Meiri, J. Pearl, Temporal constraint networks, Artificial Intelligence 49
   (1991) 61-95; from memory.
"""

import math
from itertools import pairwise

from bellmouth.errors import ProcedureError
from bellmouth.learning.procedure import Procedure, Step, Window

__all__ = ["SHORTEST_PRESS_S", "refuse_impossible"]

#: Nobody presses a pedal to the floor and lets it up again in less. A guess, not a measurement. [s]
SHORTEST_PRESS_S = 0.25

_Bound = tuple[str, str, float]  # moment, later moment, most time between them (may be negative)


def refuse_impossible(procedure: Procedure) -> None:
    """Raise an error for a procedure that nobody could meet or that cannot be told apart.

    Raises
    ------
    ProcedureError
        For presses that do not fit their time, windows that contradict each other, two windows on
        one wait, and windows from one anchor that overlap for the same action.
    """
    for step in procedure.steps:
        _refuse_hurried(procedure, step)
    _refuse_doubled(procedure)
    _refuse_overlapping(procedure)
    bounds: list[_Bound] = []
    for step in procedure.steps:
        bounds += _bounds(procedure, step)
        if not _consistent(bounds):
            raise ProcedureError(
                f"{_place(procedure, step)}: its window cannot be met together with those before "
                "it. Widen one of them."
            )


def _refuse_hurried(procedure: Procedure, step: Step) -> None:
    need = step.times[0] * SHORTEST_PRESS_S
    if step.do in ("pump", "rev", "snap") and step.within_s < need:
        raise ProcedureError(
            f"{_place(procedure, step)}: {step.times[0]} presses inside {step.within_s:g} s cannot "
            f"be met; they take at least {need:g} s."
        )


def _refuse_doubled(procedure: Procedure) -> None:
    for step, then in pairwise(procedure.steps):
        if step.lasts_s is not None and then.after_s is not None and then.after in ("", step.name):
            raise ProcedureError(
                f'{_place(procedure, then)}: after_s and the lasts_s of "{step.name}" are two '
                "windows on one wait. Keep one."
            )


def _refuse_overlapping(procedure: Procedure) -> None:
    """Two like actions from one anchor: their windows must not overlap, or which is which?"""
    seen: dict[tuple[str, str, str], tuple[Step, Window]] = {}
    for index, step in enumerate(procedure.steps):
        if step.after_s is None:
            continue
        anchor = step.after or (procedure.steps[index - 1].name if index else "")
        key = (_moment(procedure, index, anchor), step.who, step.do)
        if key in seen and step.after_s.least_s < seen[key][1].most_s:
            other = seen[key][0].name
            raise ProcedureError(
                f'{_place(procedure, step)}: its window overlaps that of "{other}", which is the '
                f'same action after "{anchor}"; nobody could tell them apart. Separate them.'
            )
        seen[key] = (step, step.after_s)


def _bounds(procedure: Procedure, step: Step) -> list[_Bound]:
    """The step's bounds; ``name<`` is where it begins, ``name>`` its anchor for others."""
    begin, end = f"{step.name}<", f"{step.name}>"
    found: list[_Bound] = [(end, begin, 0.0)]
    index = procedure.steps.index(step)
    if step.do in ("pump", "rev", "snap"):
        found.append((begin, end, step.within_s))
        found.append((end, begin, -step.times[0] * SHORTEST_PRESS_S))
    else:
        found.append((begin, end, 0.0))
    if step.until is not None:
        came = _moment(procedure, index + 1, step.until.event)
        found += _between(begin, came, Window(0.0, step.until.timeout_s))
    if index:
        before = procedure.steps[index - 1]
        found += _between(f"{before.name}>", begin, before.lasts_s or Window())
        anchor = _moment(procedure, index, step.after or before.name)
        found += _between(anchor, begin, step.after_s or Window())
    return found


def _moment(procedure: Procedure, index: int, anchor: str) -> str:
    """The moment that an anchor of a step is: a step's end, or an event as awaited last."""
    earlier = procedure.steps[:index]
    if any(anchor == other.name for other in earlier):
        return f"{anchor}>"
    waits = [one.name for one in earlier if one.until is not None and one.until.event == anchor]
    return f"{anchor} of {waits[-1]}" if waits else anchor


def _between(first: str, then: str, window: Window) -> list[_Bound]:
    return [(first, then, window.most_s), (then, first, -window.least_s)]


def _consistent(bounds: list[_Bound]) -> bool:
    """No negative cycle, by Bellman and Ford from a source at distance 0 of every moment."""
    finite = [bound for bound in bounds if math.isfinite(bound[2])]
    distance = {moment: 0.0 for first, then, _ in finite for moment in (first, then)}
    for _ in range(len(distance) + 1):
        moved = False
        for first, then, most in finite:
            if distance[first] + most < distance[then] - 1e-9:
                distance[then] = distance[first] + most
                moved = True
        if not moved:
            return True
    return False


def _place(procedure: Procedure, step: Step) -> str:
    line = f", line {step.line}" if step.line else ""
    return f'{procedure.file or procedure.name}{line}, step "{step.name}"'
