"""When each action of the present stretch may be done, on the coach's clock: for a picture.

The same windows as the judge's, laid from where the action before really was, or is planned.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from bellmouth.learning.procedure import Step, Window
from bellmouth.learning.schedule import Edge, Slot, Stretch

__all__ = ["EVENT", "Allowed", "allowed"]

#: What stands for an action where the car does something and the person waits.
EVENT = "event"


@dataclass(frozen=True, slots=True)
class Allowed:
    """One action, or one awaited event, and its window.

    Attributes
    ----------
    place
        Of the action among all of the procedure; -1 for an event.
    step, action
        The step, and what is done; ``event`` where the car does it.
    aim_s
        When it is planned, or was done where it was seen; for an event, when it is usual. [s]
    from_s, to_s
        Its window; infinite where nothing bounds it. [s]
    """

    place: int
    step: Step
    action: str
    aim_s: float
    from_s: float = -math.inf
    to_s: float = math.inf


def allowed(stretch: Stretch, origin_s: float, first: int) -> tuple[Allowed, ...]:
    """Each action of a stretch that begins at a time, in order. [s]

    ``first`` is the place of its first action among all of the procedure.
    """
    edges = [
        _of_edge(stretch, origin_s, index, first + index) for index in range(len(stretch.edges))
    ]
    return tuple(sorted((*edges, *_events(stretch, origin_s)), key=lambda one: one.aim_s))


def _of_edge(stretch: Stretch, origin_s: float, index: int, place: int) -> Allowed:
    edge = stretch.edges[index]
    slot = next(one for one in stretch.slots if one.step.name == edge.step)
    low, high = -math.inf, math.inf
    for window, since in _windows(stretch, edge, slot):
        low, high = max(low, since + window.least_s), min(high, since + window.most_s)
    return Allowed(
        place, slot.step, edge.action, origin_s + edge.at_s, origin_s + low, origin_s + high
    )


def _windows(stretch: Stretch, edge: Edge, slot: Slot) -> Iterator[tuple[Window, float]]:
    """Windows that an action closes, and from when in the stretch's own time they run. [s]"""
    step = slot.step
    if edge.number > 1 or (edge.number == 1 and edge.action == "release"):
        if edge.last and math.isfinite(step.within_s):
            yield Window(0.0, step.within_s), slot.begin_s
        return
    place = stretch.slots.index(slot)
    before = stretch.slots[place - 1] if place else None
    if step.after_s is not None:
        since = _anchor_s(stretch, step.after, before)
        if since is not None:
            yield step.after_s, since
    if before is not None and before.step.lasts_s is not None and not before.step.stopped_by:
        yield before.step.lasts_s, _end_s(stretch, before)


def _anchor_s(stretch: Stretch, name: str, before: Slot | None) -> float | None:
    """When the anchor was or will be, None where it lies in an earlier stretch. [s]"""
    if name and name == stretch.anchor:
        return 0.0
    anchor = before
    if name:
        anchor = next((one for one in stretch.slots if one.step.name == name), None)
    return None if anchor is None else _end_s(stretch, anchor)


def _end_s(stretch: Stretch, slot: Slot) -> float:
    """A step's end is its last action; one without any is where its time begins. [s]"""
    times = [edge.at_s for edge in stretch.edges if edge.step == slot.step.name]
    return times[-1] if times else slot.begin_s


def _events(stretch: Stretch, origin_s: float) -> Iterator[Allowed]:
    """The event that ends the stretch, from its earliest to its latest."""
    waits, slot = stretch.waits, stretch.slots[-1]
    if waits is None:
        return
    since = origin_s + _end_s(stretch, slot)
    yield Allowed(
        -1, slot.step, EVENT, since + (waits.about_s or waits.earliest_s),
        since + waits.earliest_s, since + waits.timeout_s,
    )  # fmt: skip
