"""A simulated person in the driver's seat who does what a coach calls, in their own time.

They hear cues ahead (three, two, one) and act around them early or late; they watch the lamp and
listen for the plate, and answer or mark what they notice. Now and then they slip.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bellmouth.learning.coach import Coach
from bellmouth.learning.cues import Cue
from bellmouth.learning.procedure import Procedure, Step
from bellmouth.practice.ignition import Action, Key
from bellmouth.practice.mechanic import Seen
from bellmouth.practice.person import Cue as Asked
from bellmouth.practice.person import Habit, Person

__all__ = ["Learner", "Slips"]

#: A person decides when to act once the action is this near. [s]
_AHEAD_S = 0.8
_REV_PCT, _SNAP_PCT = 12.0, 90.0
#: A beat that is foreseen is met so many times tighter than one call (common practice, no source).
_RHYTHM = 0.35
_DOWN_S = 0.15
#: Nobody marks what they saw sooner than this after it. [s]
_QUICKEST_S = 0.1


@dataclass(frozen=True)
class Slips:
    """How often the person does something else than asked, each a probability an attempt.

    ``missed`` and ``extra`` press of several, ``first_blink`` lets go when the lamp begins to
    blink instead of when it stays on, ``load`` switches a load on for two seconds meanwhile.
    """

    missed: float = 0.0
    extra: float = 0.0
    first_blink: float = 0.0
    load: float = 0.0


class Learner:
    """Follows one coach through one attempt.

    Parameters
    ----------
    person
        Their timing.
    procedure
        What is attempted.
    do
        Moves the car's controls; action times are on the coach's clock. [s]
    marks
        Whether they tell the coach what the lamp does, and then act on its call; else they act on
        the lamp. What they hear they always tell.
    slips, rng
        How often they slip, and the dice.
    """

    def __init__(
        self,
        person: Person,
        procedure: Procedure,
        do: Callable[[Sequence[Action]], None],
        *,
        marks: bool,
        slips: Slips,
        rng: np.random.Generator,
    ) -> None:
        self._person, self._procedure, self._do, self._marks = person, procedure, do, marks
        self._rng = rng
        habits = {
            kind: Habit(habit.bias_s, _RHYTHM * habit.spread_s)
            for kind, habit in person.habits.items()
        }
        self._in_rhythm = replace(person, habits=habits, seed=person.seed + 7)
        self._pressed_s = 0.0
        self._slip = {
            name: bool(rng.random() < getattr(slips, name))
            for name in ("missed", "extra", "first_blink", "load")
        }
        self._decided: dict[str, list[int]] = {}
        self._to_tell: list[tuple[float, str]] = []
        self._lamp = "off"
        self._heard = False
        events = {one.until.event for one in procedure.steps if one.until}
        #: Steps that answer an event, which the person sees as well as the coach.
        self._answers = {one.name for one in procedure.steps if one.after in events}

    def look(self, coach: Coach, seen: Seen, now_s: float) -> None:
        """Look and listen at a time on the coach's clock; often enough, ten times a second. [s]"""
        for cue in coach.session.upcoming(now_s + _AHEAD_S):
            self._decide(cue)
        self._watch(seen, now_s)
        for told in [one for one in self._to_tell if one[0] <= now_s]:
            self._to_tell.remove(told)
            coach.mark(told[1])

    def stopped(self, now_s: float) -> None:
        """The coach called stop: foot up, key off. [s]"""
        at_s = now_s + self._person.reaction_s + 0.4
        self._do([Action(at_s, "pedal_pct", 0.0), Action(at_s + 0.5, "key", Key.OFF)])

    def _decide(self, cue: Cue) -> None:
        edges = self._decided.setdefault(cue.step, [])
        if cue.edge in edges:
            return
        edges.append(cue.edge)
        step = self._procedure.step(cue.step)
        place = cue.edge - min(edges)
        control = _control(step, cue)
        if control is None or step.name in self._answers or self._leaves_out(step, place):
            return
        if step.do == "pump" and place:
            # Nobody's beats overtake each other, however late the first came.
            at_s = max(cue.at_s, self._pressed_s + _DOWN_S)
            done = self._in_rhythm.hear([Asked(at_s, *control)])
        else:
            done = self._person.hear([Asked(cue.at_s, *control)])
        self._pressed_s = done[-1].at_s
        self._do(done)
        if step.do == "pump" and place == 2 * step.times[0] - 1:
            self._after_presses(cue.at_s)

    def _leaves_out(self, step: Step, place: int) -> bool:
        """A press that is left out: the last but one, down and up."""
        last = 2 * step.times[0]
        return step.do == "pump" and self._slip["missed"] and place in (last - 4, last - 3)

    def _after_presses(self, at_s: float) -> None:
        """One press too many, and a load switched on."""
        if self._slip["extra"]:
            asked = [Asked(at_s + 0.4, "pedal_pct", 100.0), Asked(at_s + 0.8, "pedal_pct", 0.0)]
            self._do(self._person.hear(asked))
        if self._slip["load"]:
            on_s = at_s + float(self._rng.uniform(1.0, 6.0))
            self._do([Action(on_s, "load", 0.6), Action(on_s + 2.0, "load", 0.0)])

    def _watch(self, seen: Seen, now_s: float) -> None:
        """The lamp and the plate: seen, and answered after a while."""
        if seen.lamp != self._lamp:
            if seen.lamp == "blinking":
                self._notice("lamp_blinks", now_s)
            elif seen.lamp == "on" and self._lamp == "blinking":
                self._notice("lamp_steady", now_s)
            self._lamp = seen.lamp
        if seen.plate_heard and not self._heard:
            self._notice("plate_moves", now_s)
        self._heard = seen.plate_heard

    def _notice(self, event: str, now_s: float) -> None:
        late_s = self._person.reaction_s + 0.05 * float(self._rng.standard_normal())
        # Signals show the lamp; nothing but an ear hears the plate.
        if self._marks or event == "plate_moves":
            told_s = now_s + max(late_s, _QUICKEST_S)
            self._to_tell.append((told_s, event))
            # Who has to tell does that first, and then what the coach calls for it.
            now_s = told_s if self._marks else now_s
        slipped = self._slip["first_blink"] and event == "lamp_blinks"
        for step in self._procedure.steps:
            if step.after == event or (slipped and step.do == "release"):
                down = 100.0 if step.do == "press" else 0.0
                self._do([self._person.react(now_s, "pedal_pct", down)])
                return


def _control(step: Step, cue: Cue) -> tuple[str, float] | None:
    """Which control an action moves, and where to; None where the car has none for it."""
    if step.who == "pedal":
        down = {"rev": _REV_PCT, "snap": _SNAP_PCT}.get(step.do, 100.0)
        return "pedal_pct", 0.0 if cue.tone == "release" else down
    moves: dict[tuple[str, str], tuple[str, float]] = {
        ("key", "on"): ("key", Key.ON),
        ("key", "off"): ("key", Key.OFF),
        ("engine", "start"): ("key", Key.START),
        ("load", "on"): ("load", 0.6),
        ("load", "off"): ("load", 0.0),
    }
    return moves.get((step.who, step.do))
