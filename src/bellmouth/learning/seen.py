"""An attempt as the checks see it: the steps placed in time, and what lies around each."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bellmouth.learning.consistency import SHORTEST_PRESS_S
from bellmouth.learning.evidence import Evidence, Moment
from bellmouth.learning.place import Placed
from bellmouth.learning.procedure import Procedure

__all__ = ["Seen", "seen_of"]

#: A press unlike the others is taken to last at least this share of their mean, of so many.
_LIKE_THE_OTHERS, _ENOUGH = 0.75, 4
#: A mark this much before the step that waits for it still belongs to it. [s]
_SLACK_S = 0.5
#: An event later than this after the last thing of an attempt belongs to none. [s]
_LINGERS_S = 60.0


@dataclass(frozen=True)
class Seen:
    """What every check looks at.

    ``begins_s`` is when the attempt began; ``shortest_press_s`` is how long a press of this person
    lasts at least, so that a shorter gap between samples hides none. [s]
    """

    evidence: Evidence
    procedure: Procedure
    placed: Mapping[str, Placed]
    begins_s: float
    shortest_press_s: float = SHORTEST_PRESS_S

    def before(self, item: Placed) -> tuple[Placed, ...]:
        """The steps before one, in order."""
        steps = tuple(self.placed.values())
        return steps[: list(self.placed).index(item.step.name)]

    def after(self, item: Placed) -> tuple[Placed, ...]:
        """The steps after one, in order."""
        steps = tuple(self.placed.values())
        return steps[list(self.placed).index(item.step.name) + 1 :]

    def answering(self, item: Placed) -> tuple[Placed, ...]:
        """The steps after one, up to the next that waits for the same event."""
        found = []
        for one in self.after(item):
            if one.step.until and item.step.until and one.step.until.event == item.step.until.event:
                break
            found.append(one)
        return tuple(found)

    def event(self, name: str, waiting: Placed) -> Moment | None:
        """The first time that an event came after the step that waits for it began.

        What a parameter showed already when the step began came with it.
        """
        if waiting.begin is None:
            return None
        stood = self.evidence.stood.get(name, ())
        if any(since_s <= waiting.begin.low_s <= until_s for since_s, until_s in stood):
            return waiting.begin
        last_s = min(self._last_s(), self._next_s(waiting))
        for at in self.evidence.events.get(name, ()):
            late = at.best_s >= waiting.begin.best_s - _SLACK_S
            if late and at.high_s >= waiting.begin.low_s and at.best_s <= last_s:
                return at
        return None

    def _next_s(self, waiting: Placed) -> float:
        """When the next step that waits for the same event began, whose own it is then. [s]"""
        rest = self.after(waiting)[len(self.answering(waiting)) :]
        begins = [one.begin.best_s - _SLACK_S for one in rest[:1] if one.begin is not None]
        return begins[0] if begins else math.inf

    def _last_s(self) -> float:
        ends = [
            item.until.best_s
            for item in self.placed.values()
            if item.until is not None and math.isfinite(item.until.high_s)
        ]
        return max(ends) + _LINGERS_S if ends else math.inf


def seen_of(evidence: Evidence, procedure: Procedure, placed: Sequence[Placed]) -> Seen:
    """The view of one attempt."""
    begun = [item.begin.best_s for item in placed if item.begin is not None]
    begins = min((at for at in begun if math.isfinite(at)), default=evidence.begin_s)
    by_name = {item.step.name: item for item in placed}
    return Seen(evidence, procedure, by_name, begins, _shortest_press_s(placed))


def _shortest_press_s(placed: Sequence[Placed]) -> float:
    """Somewhat less than this attempt's own presses, but no less than anybody's. [s]"""
    pumped = [press for item in placed if item.step.do == "pump" for press in item.presses]
    lasted = [press.lasted_s for press in pumped if math.isfinite(press.lasted_s)]
    if len(lasted) < _ENOUGH:
        return SHORTEST_PRESS_S
    return max(SHORTEST_PRESS_S, _LIKE_THE_OTHERS * sum(lasted) / len(lasted))
