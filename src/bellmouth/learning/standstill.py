"""A step's clock that one event stops and another lets run on, such as while the fan runs."""

from bellmouth.learning.procedure import Procedure
from bellmouth.learning.timeline import TimeLine

__all__ = ["Standstill"]


class Standstill:
    """Whether the clock of the present step stands still, and since when.

    What stops it may have come before the step began: the fan whose start ended the step before
    still runs.

    Attributes
    ----------
    since_s
        Since when the clock stands, None while it runs. [s]
    """

    def __init__(self, procedure: Procedure, line: TimeLine) -> None:
        self.since_s: float | None = None
        self._line = line
        self._pairs = {step.stopped_by for step in procedure.steps if step.stopped_by}
        self._came_s: dict[str, float] = {}

    def plan_s(self, now_s: float) -> float:
        """Where the plan is at a time: where it stopped. [s]"""
        return now_s if self.since_s is None else min(now_s, self.since_s)

    def told(self, event: str, at_s: float, now_s: float) -> None:
        """An event came at a time, whether it stops a clock or not. [s]"""
        for stop, go in self._pairs:
            if event == stop:
                self._came_s.setdefault(stop, at_s)
            elif event == go:
                self._came_s.pop(stop, None)
        self.look(at_s, now_s)

    def look(self, at_s: float, now_s: float) -> None:
        """Stop the present step's clock, or let it run on, by what was told until then. [s]"""
        slot = self._line.slot(self.plan_s(at_s))
        if slot is None or not slot.step.stopped_by:
            return
        came_s = self._came_s.get(slot.step.stopped_by[0])
        begins_s = self._line.origin_s + slot.begin_s
        if self.since_s is None and came_s is not None and at_s >= begins_s:
            self.since_s = max(came_s, begins_s)
        elif self.since_s is not None and came_s is None:
            since_s, self.since_s = self.since_s, None
            self._line.delay(max(at_s - since_s, 0.0), since_s, now_s)

    def event(self, now_s: float) -> str:
        """What would stop the present step's clock, or let it run on; empty for nothing. [s]"""
        slot = self._line.slot(self.plan_s(now_s))
        if slot is None or not slot.step.stopped_by:
            return ""
        stop, go = slot.step.stopped_by
        return go if stop in self._came_s else stop
