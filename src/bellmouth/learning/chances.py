"""The windows of a procedure as limits on the differences of a person's action times, for many
simulated attempts at once.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.learning.procedure import Procedure, Step, Window
from bellmouth.learning.schedule import Edge, Leads, Stretch, lead_of, stretches
from bellmouth.recording.series import Floats

__all__ = ["Limit", "action_times", "edges_of", "limits", "within"]


#: Nobody's beats overtake each other: after a late press the release comes no sooner. A guess. [s]
_SHORTEST_S = 0.15


@dataclass(frozen=True, slots=True)
class Limit:
    """The time from one action to another must lie in a window.

    ``first`` and ``then`` are places among all edges; ``first`` is -1 where the time counts from
    an event, which is then the beginning of the stretch.
    """

    step: str
    first: int
    then: int
    window: Window


def edges_of(procedure: Procedure) -> tuple[Edge, ...]:
    """Every action of the procedure in order."""
    return tuple(edge for stretch in stretches(procedure) for edge in stretch.edges)


def limits(procedure: Procedure) -> tuple[Limit, ...]:
    """Every window that a person's own timing decides."""
    places: dict[str, tuple[int, int]] = {}
    for place, edge in enumerate(edges_of(procedure)):
        first, _ = places.get(edge.step, (place, place))
        places[edge.step] = (first, place)
    events = {step.until.event for step in procedure.steps if step.until is not None}
    of_stretch = [number for number, one in enumerate(stretches(procedure)) for _ in one.edges]
    ends: dict[str, int] = {}
    last = -1
    for step in procedure.steps:
        last = places[step.name][1] if step.name in places else last
        ends[step.name] = last
    found: list[Limit] = []
    steps = procedure.steps
    for index, step in enumerate(steps):
        if step.name not in places or step.optional:
            continue
        first, end = places[step.name]
        if end > first and math.isfinite(step.within_s):
            found.append(Limit(step.name, first, end, Window(0.0, step.within_s)))
        before = steps[index - 1] if index else None
        if step.after_s is not None:
            anchor = step.after or (before.name if before else "")
            start = -1 if anchor in events else ends.get(anchor, -1)
            if anchor in events or start >= 0:
                found.append(Limit(step.name, start, first, step.after_s))
        if before is not None and _counts(before) and ends[before.name] >= 0:
            assert before.lasts_s is not None  # noqa: S101 - it counts
            found.append(Limit(before.name, ends[before.name], first, before.lasts_s))
    # Where an event comes between, how long it takes is not the person's doing.
    return tuple(
        limit
        for limit in found
        if limit.first < 0 or of_stretch[limit.first] == of_stretch[limit.then]
    )


def _counts(step: Step) -> bool:
    """Whether the time until the next action is a window on the person's actions alone."""
    return step.lasts_s is not None and not step.stopped_by and step.do != "idle"


def action_times(
    procedure: Procedure, errors: Floats, leads: Leads, *, follows: bool
) -> NDArray[np.float64]:
    """When each action is done, from its error against its call.

    Parameters
    ----------
    procedure
        The procedure.
    errors
        Done minus called, shape (attempts, edges). [s]
    leads
        By how much each kind is called before its planned moment. [s]
    follows
        Whether the plan moves with what was really done.

    Returns
    -------
    numpy.ndarray
        From the beginning of each action's stretch, same shape. [s]
    """
    found = np.empty_like(errors)
    place = 0
    for stretch in stretches(procedure):
        _one_stretch(stretch, errors, found, place, leads, follows=follows)
        place += len(stretch.edges)
    return found


def _one_stretch(
    stretch: Stretch, errors: Floats, found: Floats, place: int, leads: Leads, *, follows: bool
) -> None:
    moved = np.zeros(len(errors))
    for edge in stretch.edges:
        planned = edge.at_s + moved
        called = 0.0 * moved if edge.kind == "react" else planned - lead_of(edge, leads)
        found[:, place] = called + errors[:, place]
        if edge.kind == "beat":
            earliest = found[:, place - 1] + _SHORTEST_S
            found[:, place] = np.maximum(found[:, place], earliest)
        if edge.last and follows:
            moved = moved + found[:, place] - planned
        place += 1


def within(times: Floats, limit: Limit) -> NDArray[np.bool_]:
    """Which attempts keep a limit; shape (attempts,)."""
    start = times[:, limit.first] if limit.first >= 0 else 0.0
    took = times[:, limit.then] - start
    return np.asarray((took >= limit.window.least_s) & (took <= limit.window.most_s))
