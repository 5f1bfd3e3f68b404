"""The plan of an attempt under way on the coach's clock: which stretch, since when, what is next.

The car counts from what was done, so the plan moves with every action that was really seen.
"""

import math
from collections.abc import Iterable
from dataclasses import replace

from bellmouth.learning.allowed import Allowed, allowed
from bellmouth.learning.cue_plan import cue_s, cues_of
from bellmouth.learning.cues import Cue
from bellmouth.learning.procedure import Procedure, Until
from bellmouth.learning.schedule import Edge, Leads, Slot, Stretch, stretches

__all__ = ["TimeLine"]

#: A call that is older than this is not worth sounding any more. [s]
_STALE_S = 0.25


class TimeLine:
    """Stretches on a clock, and the cues that are still to come.

    ``quiet`` silences every cue; ``leads`` bring each kind forward. [s]
    """

    def __init__(self, procedure: Procedure, leads: Leads, *, quiet: bool = False) -> None:
        self.procedure = procedure
        self.cues: list[Cue] = []
        self.origin_s = math.nan
        self._leads, self._quiet = leads, quiet
        self._stretches = list(stretches(procedure))
        self._at = 0
        self._said: set[tuple[int, str, str, str, int]] = set()

    # Where it is.

    @property
    def waits(self) -> Until | None:
        """What the present stretch waits for in the end."""
        return self._stretch.waits

    @property
    def is_last(self) -> bool:
        """Whether no stretch follows."""
        return self._at + 1 == len(self._stretches)

    @property
    def _stretch(self) -> Stretch:
        return self._stretches[self._at]

    def slot(self, now_s: float) -> Slot | None:
        """The step planned for a moment, with times from the stretch's beginning. [s]"""
        found = None
        for slot in self._stretch.slots:
            if now_s >= self.origin_s + slot.begin_s - 1e-9:
                found = slot
        return self._stretch.slots[0] if found is None and self._at else found

    @property
    def last(self) -> Slot:
        """The present stretch's last step."""
        return self._stretch.slots[-1]

    @property
    def waiting_since_s(self) -> float:
        """From when the event is awaited that ends the stretch. [s]"""
        return self.origin_s + self.last.begin_s

    def holds(self, times_s: Iterable[float]) -> bool:
        """Whether one lies in the present stretch: an earlier round's event is none of this. [s]"""
        return any(at_s > self.origin_s for at_s in times_s)

    @property
    def ends_s(self) -> float:
        """When the stretch is over by itself: its end, or the time-out of what it awaits. [s]"""
        waits, edges = self._stretch.waits, self._stretch.edges
        if waits is not None:
            return self.waiting_since_s + waits.timeout_s
        end_s = max(self.last.end_s, edges[-1].at_s if edges else 0.0)
        return self.origin_s + end_s

    def allowed(self) -> tuple[Allowed, ...]:
        """When each action of the present stretch may be done. [s]"""
        if math.isnan(self.origin_s):
            return ()
        before = sum(len(one.edges) for one in self._stretches[: self._at])
        return allowed(self._stretch, self.origin_s, before)

    # Going on.

    def begin(self, origin_s: float, now_s: float) -> None:
        """Begin the first stretch, so that its first action is planned for ``origin_s``. [s]"""
        self._load(0, origin_s, now_s)

    def go_on(self, at_s: float, now_s: float) -> None:
        """The awaited event came: begin the next stretch. [s]

        What follows does not begin before the waiting step has lasted its least time.
        """
        step = self.last.step
        if step.lasts_s is not None:
            at_s = max(at_s, self.waiting_since_s + step.lasts_s.least_s)
        self._load(self._at + 1, at_s, now_s)

    def take(self, now_s: float) -> list[Cue]:
        """Take out the cues that are due. [s]"""
        count = 0
        while count < len(self.cues) and self.cues[count].at_s <= now_s + 1e-9:
            count += 1
        ready, self.cues = self.cues[:count], self.cues[count:]
        self._said.update(self._name(cue) for cue in ready)
        return ready

    def done(self, place: int, at_s: float, now_s: float) -> tuple[Edge, float] | None:
        """An action, by its place among all, was done: gives it and when it was called. [s]

        What comes after it moves along. None where it belongs to a stretch that is over; a call
        that never was is ``nan``.
        """
        index = 0
        while place >= len(self._stretches[index].edges):
            place -= len(self._stretches[index].edges)
            index += 1
        edge = self._stretches[index].edges[place]
        called = index <= self._at
        if not called:
            # The person answered an event that nobody has told of yet.
            self._load(index, at_s - edge.at_s, now_s)
        if index < self._at:
            return None
        cued_s = self.origin_s + cue_s(edge, self._leads) if called else math.nan
        if edge.last:
            self._stretches[index] = self._stretch.moved(place, at_s - self.origin_s)
            self._plan(place, now_s)
        return edge, cued_s

    def delay(self, by_s: float, since_s: float, now_s: float) -> None:
        """A clock stood still for so long: the step of then ends later, and all after it. [s]"""
        slot = self.slot(since_s)
        if slot is None:
            return
        after = slot.begin_s
        stretch = self._stretch
        edges = tuple(
            replace(edge, at_s=edge.at_s + by_s) if edge.at_s > after + 1e-9 else edge
            for edge in stretch.edges
        )
        slots = tuple(
            replace(one, begin_s=one.begin_s + by_s * (one.begin_s > after), end_s=one.end_s + by_s)
            if one.end_s > after
            else one
            for one in stretch.slots
        )
        self._stretches[self._at] = replace(stretch, edges=edges, slots=slots)
        self._plan(-1, now_s)

    # Inside.

    def _load(self, index: int, origin_s: float, now_s: float) -> None:
        self._at, self.origin_s = index, origin_s
        self._plan(-1, now_s)

    def _plan(self, done: int, now_s: float) -> None:
        """Make the cues of the present stretch that come after the action ``done``."""
        made = cues_of(self.procedure, self._stretch, self._leads, quiet=self._quiet)
        done_s = self._stretch.edges[done].at_s if done >= 0 else -math.inf
        kept: list[Cue] = []
        for cue in made:
            at_s = self.origin_s + cue.at_s
            past = 0 <= cue.edge <= done or (cue.edge < 0 and cue.at_s < done_s - 1e-9)
            if past or self._name(cue) in self._said:
                continue
            stale_s = _STALE_S if cue.kind == "now" else 0.0
            if at_s >= now_s - stale_s or self._reacts(cue):
                kept.append(replace(cue, at_s=max(at_s, now_s)))
        self.cues = sorted(kept, key=lambda cue: cue.at_s)

    def _name(self, cue: Cue) -> tuple[int, str, str, str, int]:
        """What tells a call from another; a tick is like any other and has its time."""
        when = f"{cue.at_s:.3f}" if cue.kind in ("tick", "lead") else cue.text
        return self._at, cue.step, cue.kind, when, cue.edge

    def _reacts(self, cue: Cue) -> bool:
        """Whether it calls for a reaction, which is never too late to say."""
        called = cue.kind == "now" and cue.edge >= 0
        return called and self._stretch.edges[cue.edge].kind == "react"
