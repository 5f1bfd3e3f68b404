"""From a procedure to moments: when each action is planned, stretch by stretch.

A stretch runs from its start, or from an event of the car, to the next event that must be awaited.
Inside it every time is known beforehand. Nothing here counts on the person: where the real moment
of an action is seen, the rest of the stretch moves with it (``Stretch.moved``), because the car
counts from the action, never from the cue.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from bellmouth.learning.procedure import Procedure, Step, Until, Window

__all__ = [
    "Action", "Edge", "Kind", "Leads", "Slot", "Stretch", "lead_of", "press_rhythm", "stretches",
]  # fmt: skip

#: Kinds of action that a person times alike. ``beat`` is a press or release in a row of several
#: after the first, carried by the rhythm; ``react`` answers an event that nobody foresaw.
Kind = Literal["key", "press", "release", "beat", "react", "other"]
#: What an observer can see happen; ``other`` is seen by nobody.
Action = Literal["key_on", "key_off", "press", "release", "engine_start", "other"]
#: By how much each kind of cue comes before its planned moment. [s]
Leads = Mapping[Kind, float]

#: The engine fires so long after the starter is turned; its idle counts from then. [s]
CRANK_S = 1.5
#: Between two actions for which nobody gives a time. [s]
FREE_S = 3.0
#: After an event without a given time, so that the lead-in can be heard. [s]
AFTER_EVENT_S = 4.0
#: A window that closes sooner after an event leaves no time for a lead-in. [s]
_REACT_S = 5.0
#: Where a reaction is planned, counted from when the event was told. A guess. [s]
_REACTION_S = 0.3
#: A press takes this share of its beat, and presses whose time is open take this long. [s]
_DOWN_SHARE, _BEAT_S = 0.5, 1.0
_MANY = ("pump", "rev", "snap")


@dataclass(frozen=True, slots=True)
class Edge:
    """One action, planned at ``at_s`` after the stretch's beginning. [s]

    ``number`` counts the presses of a step from 1 and is 0 for any other action; ``last`` marks
    the edge from which the next time counts.
    """

    step: str
    action: Action
    kind: Kind
    tone: str
    at_s: float
    number: int = 0
    last: bool = True


@dataclass(frozen=True, slots=True)
class Slot:
    """A step's planned place in its stretch: from ``begin_s`` to ``end_s``, when the next begins.

    ``end_s`` is infinite where an event is awaited, and the last step's where it ends by itself.
    """

    step: Step
    begin_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of the procedure whose times are all known once it begins.

    Attributes
    ----------
    anchor
        The event that it begins at, empty for the start.
    slots, edges
        Steps and actions in order.
    waits
        The event that ends it, None for the last.
    """

    anchor: str
    slots: tuple[Slot, ...]
    edges: tuple[Edge, ...]
    waits: Until | None = None

    @property
    def ends_s(self) -> float:
        """When it is over, or when its last step begins to wait. [s]"""
        last = self.slots[-1]
        return last.begin_s if math.isinf(last.end_s) else last.end_s

    def moved(self, edge: int, to_s: float) -> "Stretch":
        """The stretch with one action where it really was, and all after it moved along. [s]"""
        by = to_s - self.edges[edge].at_s
        after = self.edges[edge].at_s
        edges = tuple(
            replace(one, at_s=one.at_s + by) if index >= edge else one
            for index, one in enumerate(self.edges)
        )
        slots = tuple(
            replace(
                slot,
                begin_s=slot.begin_s + (by if slot.begin_s >= after - 1e-9 else 0.0),
                end_s=slot.end_s + (by if slot.end_s > after + 1e-9 else 0.0),
            )
            for slot in self.slots
        )
        return replace(self, slots=slots, edges=edges)


def lead_of(edge: Edge, leads: Leads) -> float:
    """By how much an action is called before its planned moment. [s]

    A rhythm moves as a whole, with its first press.
    """
    return leads.get("press" if edge.kind == "beat" else edge.kind, 0.0)


def press_rhythm(step: Step) -> tuple[float, float]:
    """Beat and whole length of a step's presses, first press to last release. [s]

    Five presses inside 5 s are asked for in 4 s, which leaves a margin.
    """
    count = step.times[0]
    if step.do == "snap":
        beat = min(step.within_s, 1.0)
        return beat, _DOWN_SHARE * beat
    whole = 0.8 * step.within_s if math.isfinite(step.within_s) else count * _BEAT_S
    beat = whole / (count - 1 + _DOWN_SHARE)
    return beat, whole


def stretches(procedure: Procedure) -> tuple[Stretch, ...]:
    """The procedure's stretches in order, each with times from its own beginning. [s]"""
    found: list[Stretch] = []
    anchor, at_s = "", 0.0
    slots: list[Slot] = []
    edges: list[Edge] = []
    reacts = False
    for index, step in enumerate(procedure.steps):
        then = procedure.steps[index + 1] if index + 1 < len(procedure.steps) else None
        made = _edges(step, at_s, reacts=reacts)
        edges += made
        acted_s = made[-1].at_s if made else at_s
        if then is not None and _is_awaited(procedure, index):
            slots.append(Slot(step, at_s, math.inf))
            found.append(Stretch(anchor, tuple(slots), tuple(edges), step.until))
            anchor, slots, edges = step.until.event if step.until else "", [], []
            at_s, reacts = _after_event(then)
            continue
        end_s = acted_s + _length_s(procedure, index, made, found, slots)
        slots.append(Slot(step, at_s, end_s))
        at_s, reacts = end_s, False
    found.append(Stretch(anchor, tuple(slots), tuple(edges), _last_wait(procedure.steps)))
    return tuple(found)


def _last_wait(steps: Sequence[Step]) -> Until | None:
    """The last step waits only where no time of its own ends it."""
    step = steps[-1]
    return step.until if step.lasts_s is None else None


def _is_awaited(procedure: Procedure, index: int) -> bool:
    """Whether what follows cannot be planned before the step's event has come."""
    step = procedure.steps[index]
    if step.until is None:
        return False
    if any(later.after == step.until.event for later in procedure.steps[index + 1 :]):
        return True
    # A time that outlasts the wait decides alone; the event is listened for and marked.
    return step.lasts_s is None or step.until.timeout_s > step.lasts_s.aim_s


def _after_event(step: Step) -> tuple[float, bool]:
    """When the step after an event is planned, and whether it is a reaction without lead-in."""
    window = step.after_s
    if window is None:
        return AFTER_EVENT_S, False
    if window.most_s <= _REACT_S:
        return min(window.aim_s, _REACTION_S), True
    return max(window.aim_s, min(AFTER_EVENT_S, _middle(window))), False


def _middle(window: Window) -> float:
    return 0.5 * (window.least_s + window.most_s) if math.isfinite(window.most_s) else math.inf


def _length_s(
    procedure: Procedure,
    index: int,
    made: Sequence[Edge],
    found: Sequence[Stretch],
    slots: Sequence[Slot],
) -> float:
    """From a step's last action to the next step's beginning. [s]"""
    step = procedure.steps[index]
    if step.lasts_s is not None:
        return step.lasts_s.aim_s
    if index + 1 == len(procedure.steps):
        return 0.0
    then = procedure.steps[index + 1]
    if not then.cues:
        return CRANK_S if step.who == "engine" else 0.0
    if then.after_s is None:
        return FREE_S
    if then.after in ("", step.name):
        return then.after_s.aim_s
    acted_s = made[-1].at_s if made else 0.0
    return max(_anchor_s(then, found, slots) + then.after_s.aim_s - acted_s, 0.0)


def _anchor_s(step: Step, found: Sequence[Stretch], slots: Sequence[Slot]) -> float:
    """An earlier anchor in this stretch's time; an event is the beginning of the stretch. [s]"""
    for slot in slots:
        if slot.step.name == step.after:
            return slot.begin_s
    return 0.0 if found else -math.inf


def _edges(step: Step, at_s: float, *, reacts: bool) -> list[Edge]:
    if not step.cues:
        return []
    if step.do in _MANY:
        return _presses(step, at_s)
    kind: Kind = "react" if reacts else _kind(step)
    return [Edge(step.name, _action(step), kind, step.tone, at_s)]


def _presses(step: Step, at_s: float) -> list[Edge]:
    beat, whole = press_rhythm(step)
    down = whole - beat * (step.times[0] - 1)
    edges: list[Edge] = []
    for count in range(step.times[0]):
        begin = at_s + beat * count
        kind: Kind = "beat" if count else "press"
        edges.append(Edge(step.name, "press", kind, "press", begin, count + 1, last=False))
        final = count + 1 == step.times[0]
        edges.append(
            Edge(step.name, "release", "beat", "release", begin + down, count + 1, last=final)
        )
    return edges


def _kind(step: Step) -> Kind:
    if step.who == "key" or step.do == "start":
        return "key"
    if step.who == "pedal":
        return "release" if step.do == "release" else "press"
    return "other"


def _action(step: Step) -> Action:
    named: dict[tuple[str, str], Action] = {
        ("key", "on"): "key_on",
        ("key", "off"): "key_off",
        ("pedal", "press"): "press",
        ("pedal", "release"): "release",
        ("engine", "start"): "engine_start",
        ("engine", "crank"): "engine_start",
    }
    return named.get((step.who, step.do), "other")
