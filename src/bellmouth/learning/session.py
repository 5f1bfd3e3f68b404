"""One coached attempt as a state that is moved on from outside: no thread, no clock, no sound.

A terminal, a page or a test asks ``next_s`` and ``due`` and tells what was seen; all times are on
the caller's own monotonic clock.
"""

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from bellmouth.learning.allowed import Allowed
from bellmouth.learning.cue_plan import COUNT_IN_S
from bellmouth.learning.cues import Cue, phrase
from bellmouth.learning.evidence import Moment
from bellmouth.learning.follow import Follower, Lost, Matched
from bellmouth.learning.marks import EARLY_S, LATE_S
from bellmouth.learning.procedure import Procedure, Step
from bellmouth.learning.reasons import reason
from bellmouth.learning.schedule import Kind, Leads
from bellmouth.learning.standing import Standing
from bellmouth.learning.standstill import Standstill
from bellmouth.learning.timeline import TimeLine

__all__ = ["ENDED", "Phase", "Progress", "Session", "Timing", "leads_of"]

Phase = Literal["ready", "running", "done", "lost", "stopped", "void"]
#: Phases in which nothing more happens.
ENDED: frozenset[Phase] = frozenset({"done", "lost", "stopped", "void"})
#: After the plan's end an observer may still bring the last action. [s]
_GRACE_S = 3.0
#: An action that is overdue is taken to come so much later, give or take as much. [s]
_LATER_S = 0.1


@dataclass(frozen=True, slots=True)
class Timing:
    """One action of the person: when it was called and when it was done, on one clock. [s]

    ``give_s`` is how far the observation may be off, either way.
    """

    step: str
    kind: Kind
    number: int
    cued_s: float
    done_s: float
    give_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Progress:
    """What a face shows at one moment.

    Attributes
    ----------
    phase
        Where the attempt is.
    step, place, of
        The present step (None before the start), its place from 1 and how many there are.
    elapsed_s, left_s, length_s
        Of the present step; ``left_s`` runs to the planned end, or to the time-out of an event.
    next_say, next_in_s
        The next action and when it is called; empty and infinite where an event decides.
    awaits
        The event that ends the step, in words; empty for none.
    listens
        An event to be told of that does not end the step, in words; empty for none.
    stands
        Whether the step's clock stands still, such as while the fan runs.
    lost
        Why it is lost, or None.
    total_s
        Since the first action; negative in the count-in.
    """

    phase: Phase
    step: Step | None
    place: int
    of: int
    elapsed_s: float
    left_s: float
    length_s: float
    next_say: str
    next_in_s: float
    awaits: str = ""
    listens: str = ""
    lost: Lost | None = None
    total_s: float = 0.0
    stands: bool = False


class Session:
    """One attempt under way.

    Parameters
    ----------
    procedure
        What is attempted.
    leads
        By how much each kind of cue comes before its planned moment. [s]
    watched
        What an observer sees of the person: ``key``, ``pedal``, ``engine``; empty for none.
    quiet
        Nothing sounds.

    Attributes
    ----------
    phase, lost
        Where it is, and why it is lost or void.
    timings
        Every action that was seen.
    marks, told
        Times of events: all, and those that a person told. [s]
    began_s
        When the first action was planned. [s]
    """

    def __init__(
        self,
        procedure: Procedure,
        *,
        leads: Leads | None = None,
        watched: Collection[str] = (),
        quiet: bool = False,
    ) -> None:
        self.procedure = procedure
        self.leads: Leads = dict(leads or {})
        self.phase: Phase = "ready"
        self.lost: Lost | None = None
        self.follower = Follower(procedure, watched)
        self.standing = Standing(procedure)
        self.marks: dict[str, list[float]] = {}
        self.told: dict[str, list[float]] = {}
        self.timings: list[Timing] = []
        self.began_s = math.nan
        self._line = TimeLine(procedure, self.leads, quiet=quiet)
        self._still = Standstill(procedure, self._line)
        self._read_s: dict[str, float] = {}
        self._seen_until_s = -math.inf
        self._uncalled: Timing | None = None

    # What the coach asks.

    def begin(self, at_s: float) -> None:
        """Start counting in at a time; the first action comes ``COUNT_IN_S`` later. [s]

        Raises
        ------
        ValueError
            If it has begun before.
        """
        if self.phase != "ready":
            raise ValueError("a session begins once; make another for another attempt")
        self.phase = "running"
        self.began_s = at_s + COUNT_IN_S
        self._line.begin(self.began_s, at_s)

    @property
    def _runs(self) -> bool:
        return self.phase == "running"

    @property
    def _goes_on(self) -> bool:
        return self._runs and self._still.since_s is None

    def next_s(self) -> float:
        """When there is something to do next; infinite for never. [s]"""
        if not self._goes_on:
            return math.inf
        cues = self._line.cues
        return min(cues[0].at_s if cues else math.inf, self._deadline_s())

    def planned(self, until_s: float) -> tuple[Cue, ...]:
        """Cues that are planned up to a time and not taken out; they may still move. [s]"""
        if not self._goes_on:
            return ()
        return tuple(cue for cue in self._line.cues if cue.at_s <= until_s)

    def upcoming(self, until_s: float) -> tuple[Cue, ...]:
        """Calls to act that are planned up to a time; they may still move. [s]"""
        cues = self._line.cues if self._runs else []
        return tuple(
            cue
            for cue in cues
            if cue.kind in ("now", "beat") and cue.edge >= 0 and cue.at_s <= until_s
        )

    def due(self, now_s: float) -> tuple[Cue, ...]:
        """Take out the cues that are due, and end the attempt where its time has come. [s]"""
        if not self._goes_on:
            return ()
        ready = self._line.take(now_s)
        self._still.look(now_s, now_s)
        if not self._goes_on:
            return tuple(ready)
        late = self.follower.overdue(self._seen_until_s)
        if late is not None:
            # It has not come yet, so it is at least this late: left out, the person would seem
            # more punctual than they are.
            moment = Moment(self._seen_until_s, self._seen_until_s + 2.0 * _LATER_S)
            self._matched(Matched(self.follower.next, moment), now_s)
            return (*ready, *self._lose(late, now_s))
        if now_s + 1e-9 >= self._deadline_s():
            return (*ready, *self._finish(now_s))
        return tuple(ready)

    # What is told to it; each gives the cues that follow from it at once.

    def mark(
        self, event: str, at_s: float, now_s: float | None = None, moment: Moment | None = None
    ) -> tuple[Cue, ...]:
        """An event of the car, seen or heard at ``at_s`` and told at ``now_s``. [s]

        ``moment`` bounds it where a signal showed it; a person's mark comes a little late.
        """
        if not self._runs:
            return ()
        now_s = at_s if now_s is None else now_s
        self.marks.setdefault(event, []).append(at_s)
        if moment is None:
            self.told.setdefault(event, []).append(at_s)
        self._answered(event, at_s)
        self._still.told(event, at_s, now_s)
        self.follower.event(event, moment or Moment(at_s - LATE_S, at_s + EARLY_S, at_s))
        line = self._line
        if line.waits is None or line.waits.event != event or at_s < line.waiting_since_s:
            return ()
        if line.is_last:
            return self._finish(now_s)
        line.go_on(at_s, now_s)
        return ()

    def untrue(self, event: str, now_s: float) -> tuple[Cue, ...]:
        """A person told of an event that had not come, where somebody knows that. [s]"""
        if not self._runs:
            return ()
        self.told.setdefault(event, [])  # looked out for, and not noticed
        step = next(one for one in self.procedure.steps if one.until and one.until.event == event)
        why = reason("untrue", step=step.say, event=self.procedure.event_words(event))
        return self._lose(Lost(step.name, why, None, now_s), now_s)

    def acted(self, action: str, moment: Moment, now_s: float | None = None) -> tuple[Cue, ...]:
        """An action of the person was observed; ``engine_runs`` when the engine fires. [s]"""
        if not self._runs:
            return ()
        now_s = moment.high_s if now_s is None else now_s
        if action == "engine_runs":
            self.follower.running(moment)
            return ()
        if self._on_already(action, moment):
            return (Cue(now_s, "say", phrase("off_first")),)
        found = self.follower.saw(action, moment)
        if isinstance(found, Matched):
            if math.isfinite(moment.low_s):
                self._matched(found, now_s)
            found = found.lost
        return () if found is None else self._lose(found, now_s)

    def reading(self, name: str, value: float, at_s: float) -> tuple[Cue, ...]:
        """A reading of the car, in the parameter's own unit; it may be the event awaited. [s]"""
        if not self._runs:
            return ()
        lost = self.standing.read(name, value, at_s)
        if lost is not None:
            return self._lose(lost, at_s)
        since_s, self._read_s[name] = self._read_s.get(name, -math.inf), at_s
        line, waits = self._line, self._line.waits
        shows = waits is not None and waits.signal == name and waits.least <= value <= waits.most
        if waits is None or not shows or at_s < line.waiting_since_s:
            return ()
        # What stood already when it was waited for came with the waiting.
        return self.mark(waits.event, at_s, at_s, Moment(max(since_s, line.waiting_since_s), at_s))

    def seen_until(self, at_s: float) -> None:
        """The observer has seen everything up to a time; what is missing then is missing. [s]"""
        self._seen_until_s = max(self._seen_until_s, at_s)

    def stop(self, now_s: float) -> tuple[Cue, ...]:
        """The person stops it."""
        return self._end("stopped", phrase("stopped") + ".", now_s)

    def void(self, why: str, now_s: float) -> tuple[Cue, ...]:
        """The coach itself failed, as where the computer slept: the attempt counts for nothing."""
        if self.phase in ENDED:
            return ()
        self.lost = Lost("", why, None, now_s)
        return self._end("void", f"{phrase('void')}. {why}", now_s)

    # What a face shows.

    def awaited(self, now_s: float) -> str:
        """The event that the present step looks out for, empty for none. [s]"""
        slot = self._line.slot(now_s)
        until = slot.step.until if slot is not None else None
        return self._still.event(now_s) or (until.event if until else "")

    def allowed(self) -> tuple[Allowed, ...]:
        """When each action of the present stretch may be done, for a picture. [s]"""
        return self._line.allowed()

    def progress(self, now_s: float) -> Progress:
        """Where the attempt is at a time. [s]"""
        line, at_s = self._line, self._still.plan_s(now_s)
        slot = line.slot(at_s)
        step = slot.step if slot else None
        elapsed = at_s - line.origin_s - slot.begin_s if slot else 0.0
        until = step.until if step else None
        length = slot.end_s - slot.begin_s if slot else 0.0
        awaits = listens = ""
        if until is not None and math.isinf(length):
            length, awaits = until.timeout_s, self.procedure.event_words(until.event)
        elif until is not None and not line.holds(self.marks.get(until.event, ())):
            listens = self.procedure.event_words(until.event)
        elif stops := self._still.event(now_s):
            listens = self.procedure.event_words(stops)
        following = next((cue for cue in line.cues if cue.kind == "now" and cue.edge >= 0), None)
        return Progress(
            self.phase,
            step,
            self.procedure.steps.index(step) + 1 if step else 0,
            len(self.procedure.steps),
            max(elapsed, 0.0),
            max(length - elapsed, 0.0),
            length,
            following.text if following else "",
            following.at_s - at_s if following else math.inf,
            awaits,
            listens,
            self.lost,
            now_s - self.began_s,
            at_s < now_s,
        )

    # Inside.

    def _deadline_s(self) -> float:
        watching = bool(self.follower.watched) and not self.follower.over
        late = watching and self._line.waits is None
        return self._line.ends_s + (_GRACE_S if late else 0.0)

    def _on_already(self, action: str, moment: Moment) -> bool:
        """Whether the key was on before anything began, where turning it on is the beginning."""
        follower = self.follower
        before = math.isinf(moment.low_s) and not follower.begun
        return before and action == "key_on" == follower.edges[follower.next].action

    def _matched(self, found: Matched, now_s: float) -> None:
        moment = found.moment
        done = self._line.done(found.edge, moment.best_s, now_s)
        if done is None:
            return
        edge, cued_s = done
        give_s = 0.5 * (moment.high_s - moment.low_s)
        timing = Timing(edge.step, edge.kind, edge.number, cued_s, moment.best_s, give_s)
        if math.isnan(cued_s):
            self._uncalled = timing
        else:
            self.timings.append(timing)

    def _answered(self, event: str, at_s: float) -> None:
        """An action came before the event that it answers was told of."""
        timing, self._uncalled = self._uncalled, None
        if timing is None or self.procedure.step(timing.step).after != event:
            return
        self.timings.append(replace(timing, cued_s=at_s))

    def _finish(self, now_s: float) -> tuple[Cue, ...]:
        waits = self._line.waits
        if waits is not None and not self._line.holds(self.marks.get(waits.event, ())):
            step = self._line.last.step
            words = self.procedure.event_words(waits.event)
            most = f"{waits.timeout_s:g}"
            why = reason("no_event", step=step.say, most=most, event=words)
            return self._lose(Lost(step.name, why, None, now_s), now_s)
        self.phase = "done"
        self._line.cues = []
        sign = self.procedure.signs[0].what if self.procedure.signs else "nothing to be seen."
        return (Cue(now_s, "state", phrase("done", sign=sign), "done"),)

    def _lose(self, lost: Lost, now_s: float) -> tuple[Cue, ...]:
        self.lost = lost
        return self._end("lost", f"{phrase('lost')}. {lost.why}", now_s)

    def _end(self, phase: Phase, words: str, now_s: float) -> tuple[Cue, ...]:
        if self.phase in ENDED:
            return ()
        self.phase = phase
        self._line.cues = []
        return (Cue(now_s, "state", f"{words} {self.procedure.safe_state}", "stop"),)


def leads_of(seconds: float | Mapping[Kind, float]) -> Leads:
    """Leads for every kind of action from one figure, or as given. [s]"""
    if isinstance(seconds, Mapping):
        return seconds
    kinds: tuple[Kind, ...] = ("key", "press", "release", "other")
    return dict.fromkeys(kinds, seconds)
