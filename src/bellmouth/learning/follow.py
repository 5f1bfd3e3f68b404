"""Following an attempt while it runs: what was seen against the windows, so that a lost one is
known at once and nobody waits two minutes to find out.

The same windows as the judge's, on the same terms: an attempt is lost only where all that the
observation allows lies outside.
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from bellmouth.learning.evidence import Moment, between
from bellmouth.learning.judgement import MISSED
from bellmouth.learning.procedure import Procedure, Step, Window
from bellmouth.learning.reasons import DONE_WRONG, reason
from bellmouth.learning.schedule import Edge, stretches
from bellmouth.learning.step_checks import compare

__all__ = ["SEEABLE", "Follower", "Lost", "Matched"]

#: Which observation shows which action.
SEEABLE = {
    "key_on": "key",
    "key_off": "key",
    "press": "pedal",
    "release": "pedal",
    "engine_start": "engine",
}
#: What the last step asks to last, and what ends it.
_ENDINGS = {("off", "key_on"), ("idle", "key_off")}
#: An observer's news is a little late; an action counts as not done only after this. [s]
_PATIENCE_S = 0.1


@dataclass(frozen=True, slots=True)
class Lost:
    """Why an attempt is lost: which step, in words, and by how much where time decided. [s]"""

    step: str
    why: str
    by_s: float | None = None
    at_s: float = math.nan


@dataclass(frozen=True, slots=True)
class Matched:
    """An observed action that was the next one asked for: its place among all edges, and what it
    lost by coming when it came.
    """

    edge: int
    moment: Moment
    lost: Lost | None = None


class Follower:
    """Takes observed actions one by one, on one clock, in order of time.

    Parameters
    ----------
    procedure
        What is attempted.
    watched
        What the observer can see: ``key``, ``pedal``, ``engine``. Actions of others are taken on
        trust and no time is counted from or to them.
    """

    def __init__(self, procedure: Procedure, watched: Collection[str]) -> None:
        self.procedure = procedure
        self.watched = frozenset(watched)
        self.edges: tuple[Edge, ...] = tuple(
            edge for stretch in stretches(procedure) for edge in stretch.edges
        )
        self._next = 0
        self._begin: dict[str, Moment] = {}
        self._end: dict[str, Moment] = {}
        self._events: dict[str, Moment] = {}
        self._extra = 0
        self._skip_unseen()

    @property
    def begun(self) -> bool:
        """Whether the first action was seen."""
        return bool(self._begin)

    @property
    def over(self) -> bool:
        """Whether nothing more is asked for."""
        return self._next >= len(self.edges)

    def event(self, name: str, moment: Moment) -> None:
        """An event of the car was seen or marked."""
        self._events[name] = moment

    def running(self, moment: Moment) -> None:
        """The engine has begun to run: an idle counts from here."""
        for step in self.procedure.steps:
            if step.do == "idle" and step.name not in self._begin and self._is_next_or_past(step):
                self._begin[step.name] = self._end[step.name] = moment
                return

    def saw(self, action: str, moment: Moment) -> Matched | Lost | None:
        """An action was observed: the one asked for, one that spoils the attempt, or neither."""
        if SEEABLE.get(action) not in self.watched:
            return None
        place = self._place_of(action)
        if place is None:
            return self._unasked(action, moment)
        self._next = place
        edge = self.edges[place]
        lost = self._check(edge, moment)
        self._note(edge, moment)
        self._next += 1
        self._skip_unseen()
        return Matched(place, moment, lost)

    @property
    def next(self) -> int:
        """Place of the action that is asked for next, among all edges."""
        return self._next

    def overdue(self, seen_until_s: float) -> Lost | None:
        """The action that should have come by now and did not. [s]"""
        if self.over or not self.begun:
            return None
        edge = self.edges[self._next]
        step = self.procedure.step(edge.step)
        if step.optional:
            return None
        for window, since, blamed in self._open_windows(edge, step):
            latest = since.high_s + window.most_s
            if seen_until_s > latest + _PATIENCE_S:
                why = reason("not_done", step=blamed.say, most=f"{window.most_s:g}")
                return Lost(step.name, why, seen_until_s - latest, seen_until_s)
        return None

    # Inside.

    def _skip_unseen(self) -> None:
        while not self.over and SEEABLE.get(self.edges[self._next].action) not in self.watched:
            self._next += 1

    def _place_of(self, action: str) -> int | None:
        """Which edge an action is: the next, one after optional steps, or none."""
        for place in range(self._next, len(self.edges)):
            edge = self.edges[place]
            if edge.action == action:
                return place
            seen = SEEABLE.get(edge.action) in self.watched
            if seen and not self.procedure.step(edge.step).optional:
                return None
        return None

    def _is_next_or_past(self, step: Step) -> bool:
        names = [one.name for one in self.procedure.steps]
        begun = max((names.index(name) for name in self._begin), default=-1)
        return names.index(step.name) <= begun + 1

    def _unasked(self, action: str, moment: Moment) -> Lost | None:
        """An action that nothing asks for now."""
        if not self.begun:
            return None
        current = self._current()
        if self._is_extra(current, action, moment):
            return None
        starts = not self.over and self.edges[self._next].action == "engine_start"
        if action == "key_on" and starts:
            # On its way to the starter the key passes on.
            return None
        if action == "release":
            # It ends an unasked press, which has been told already.
            return None
        if self.over or (action == "key_off" and self._may_end()):
            return self._ended(current, action, moment)
        what = DONE_WRONG.get(action, action)
        why = reason("unasked", step=current.say, action=what)
        return Lost(current.name, why, None, moment.best_s)

    def _may_end(self) -> bool:
        """Whether all that is still asked for may be left out."""
        return all(self.procedure.step(edge.step).optional for edge in self.edges[self._next :])

    def _ended(self, last: Step, action: str, moment: Moment) -> Lost | None:
        """Nothing more is asked for, but the last time may still run: the key ended it too soon."""
        since = self._end.get(last.name)
        self._next = len(self.edges)
        if (last.do, action) not in _ENDINGS or last.lasts_s is None or since is None:
            return None
        return self._compare(last, last.lasts_s, since, moment)

    def _is_extra(self, step: Step, action: str, moment: Moment) -> bool:
        """Presses beyond the least number that the step still allows."""
        least, most = step.times
        if step.do not in ("pump", "rev", "snap") or most <= least:
            return False
        if action == "release" and self._extra:
            self._end[step.name] = moment
            return True
        if action == "press" and self._extra < most - least:
            self._extra += 1
            return True
        return False

    def _current(self) -> Step:
        last = max(self._begin.values(), key=lambda moment: moment.best_s)
        for step in reversed(self.procedure.steps):
            if self._begin.get(step.name) is last:
                return step
        return self.procedure.steps[0]

    def _note(self, edge: Edge, moment: Moment) -> None:
        step = self.procedure.step(edge.step)
        if edge.number <= 1 and edge.step not in self._begin:
            self._begin[edge.step] = moment
            if step.until is not None:
                # What an earlier step waited for is over.
                self._events.pop(step.until.event, None)
        self._end[edge.step] = moment
        if not edge.last:
            return
        self._extra = 0
        # A rest begins with the end of what comes before it.
        names = [one.name for one in self.procedure.steps]
        for then in self.procedure.steps[names.index(step.name) + 1 :]:
            if then.do != "rest":
                break
            self._begin[then.name] = self._end[then.name] = moment

    def _check(self, edge: Edge, moment: Moment) -> Lost | None:
        step = self.procedure.step(edge.step)
        if edge.number and not (edge.number == 1 and edge.action == "press"):
            if edge.last and math.isfinite(step.within_s):
                window = Window(0.0, step.within_s)
                return self._compare(step, window, self._begin[step.name], moment)
            return None
        for window, since, blamed in self._open_windows(edge, step):
            lost = self._compare(blamed, window, since, moment)
            if lost is not None:
                return lost
        return self._too_soon(step, moment)

    def _open_windows(self, edge: Edge, step: Step) -> Sequence[tuple[Window, Moment, Step]]:
        """Windows that an action closes, from when they run, and the step to blame."""
        if edge.number > 1 or (edge.number == 1 and edge.action == "release"):
            if not math.isfinite(step.within_s) or step.name not in self._begin:
                return []
            return [(Window(0.0, step.within_s), self._begin[step.name], step)]
        found: list[tuple[Window, Moment, Step]] = []
        before = self._before(step)
        if step.after_s is not None:
            anchor = step.after or (before.name if before is not None else "")
            since = self._events.get(anchor) or self._end.get(anchor)
            if since is not None:
                found.append((step.after_s, since, step))
        if before is not None and before.lasts_s is not None and not before.stopped_by:
            since = self._end.get(before.name)
            if since is not None:
                found.append((before.lasts_s, since, before))
        return found

    def _before(self, step: Step) -> Step | None:
        names = [one.name for one in self.procedure.steps]
        before = self.procedure.steps[: names.index(step.name)]
        # One that may be left out, and certainly was, is passed by.
        kept = (one for one in reversed(before) if not (one.optional and self._was_left_out(one)))
        return next(kept, None)

    def _was_left_out(self, step: Step) -> bool:
        seen = any(
            edge.step == step.name and SEEABLE.get(edge.action) in self.watched
            for edge in self.edges
        )
        return seen and step.name not in self._begin

    def _too_soon(self, step: Step, moment: Moment) -> Lost | None:
        """Ended before an event that has not been seen and cannot have come yet."""
        before = self._before(step)
        if before is None or before.until is None or before.lasts_s is not None:
            return None
        since = self._begin.get(before.name)
        if before.until.event in self._events or since is None:
            return None
        window = Window(before.until.earliest_s, before.until.timeout_s)
        return self._compare(before, window, since, moment)

    def _compare(self, step: Step, window: Window, first: Moment, then: Moment) -> Lost | None:
        if compare(window, first, then).judgement != MISSED:
            return None
        value, _, _ = between(first, then)
        by_s = -window.margin_s(value)
        if value < window.least_s:
            key, limit = "too_short", {"least": f"{window.least_s:g}"}
        else:
            key, limit = "too_long", {"most": f"{window.most_s:g}"}
        why = reason(key, step=step.say, took=f"{value:.1f}", by=f"{by_s:.1f}", **limit)
        return Lost(step.name, why, by_s, then.best_s)
