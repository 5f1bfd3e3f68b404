"""A simulated person who follows cues in the live practice car, early or late as people are."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from bellmouth.practice.ignition import Action
from bellmouth.practice.mechanic import Seen

__all__ = ["HABITS", "Cue", "Habit", "Kind", "Person"]

Kind = Literal["key", "press", "release", "other"]


@dataclass(frozen=True)
class Habit:
    """How somebody times one kind of action: later by ``bias_s`` on average, give or take.

    ``spread_s`` is a standard deviation; a person is never earlier than the cue could be
    foreseen.
    """

    bias_s: float = 0.0
    spread_s: float = 0.0


#: A practised person with predictable cues: common practice, no source.
HABITS: Mapping[Kind, Habit] = {
    "key": Habit(0.10, 0.12),
    "press": Habit(0.05, 0.08),
    "release": Habit(0.06, 0.08),
    "other": Habit(0.15, 0.15),
}


@dataclass(frozen=True)
class Cue:
    """What the person is asked to do, and when it is meant to happen. [s], car time"""

    at_s: float
    control: str
    value: float


@dataclass
class Person:
    """Does what cues ask, each with its own timing error; takes nothing into its own hands.

    Attributes
    ----------
    habits
        By kind of action.
    seed
        The same seed and cues give the same actions.
    reaction_s
        How long something unforeseen (the lamp) takes to be answered. [s]
    tails
        Degrees of freedom of Student's distribution for the errors; infinite is normal.
    carries
        Correlation of each error with the one before, from 0 to below 1.
    """

    habits: Mapping[Kind, Habit] = field(default_factory=lambda: HABITS)
    seed: int = 1
    reaction_s: float = 0.25
    tails: float = math.inf
    carries: float = 0.0

    def __post_init__(self) -> None:
        self._rng = np.random.default_rng([self.seed, 41])
        self._waiting: list[Action] = []
        self._last_s = 0.0
        self._carried = 0.0

    def hear(self, cues: Iterable[Cue]) -> tuple[Action, ...]:
        """What will be done about these cues, in order: nobody lets go before they pressed."""
        done = tuple(self._answer(cue) for cue in cues)
        self._waiting += done
        return done

    def react(self, now_s: float, control: str, value: float) -> Action:
        """What is done about something just seen or heard."""
        return self.hear((Cue(now_s + self.reaction_s, control, value),))[0]

    def _answer(self, cue: Cue) -> Action:
        habit = self.habits.get(_kind(cue), Habit())
        late = habit.bias_s + habit.spread_s * self._off()
        at_s = max(cue.at_s + late, self._last_s + 0.02, 0.0)
        self._last_s = at_s
        return Action(at_s, cue.control, cue.value)

    def _off(self) -> float:
        """The next error in units of the spread."""
        finite = math.isfinite(self.tails)
        fresh = self._rng.standard_t(self.tails) if finite else self._rng.standard_normal()
        self._carried = self.carries * self._carried + math.sqrt(1.0 - self.carries**2) * fresh
        return float(self._carried)

    def act(self, now_s: float, seen: Seen) -> Sequence[Action]:  # noqa: ARG002
        """See :class:`bellmouth.practice.mechanic.Sitter`."""
        ready, self._waiting = self._waiting, []
        return ready


def _kind(cue: Cue) -> Kind:
    if cue.control == "key":
        return "key"
    if cue.control == "pedal_pct":
        return "press" if cue.value > 0.0 else "release"
    return "other"
