"""This person's timing: how late and how unsteady with each kind of action, from few attempts.

A hierarchical model. The time from a call to the action has the person's own bias and spread for
that kind of action. Biases share a person's part (who is late is late at everything) and have a
part of their own kind; logarithms of spreads likewise, more loosely: a steady rhythm says little
of how steadily a single call is answered. Errors have longer tails than the normal. Besides, any
action may go wrong altogether (forgotten, too shallow, once too often): a lapse, whose chance is
learned too. People change, so an attempt counts for less the more came after it.

With no attempt at all it is the prior, and every action seen draws it towards what this person
does. The prior is a guess (common practice, no source), wide on purpose.
"""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from bellmouth.learning.attempts import KeptAttempt
from bellmouth.learning.chances import action_times, edges_of, limits, within
from bellmouth.learning.posterior import Prior, Seen, posterior
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.schedule import Kind, Leads
from bellmouth.learning.session import Timing
from bellmouth.recording.series import Floats

__all__ = ["KINDS", "PRIOR", "Habit", "PersonTiming", "Prediction", "StepChance", "learn_timing"]

KINDS: tuple[Kind, ...] = ("key", "press", "release", "beat", "react", "other")
#: Bias [s] and spread [s] by kind, what people share and what is each kind's own. A beat's are of
#: how much more it lags than the one before: who cannot keep the pace falls behind beat by beat.
PRIOR = Prior(
    bias_s=np.array([0.15, 0.20, 0.20, 0.01, 0.50, 0.30]),
    shared_bias_s=np.array([0.17, 0.17, 0.17, 0.03, 0.17, 0.17]),
    own_bias_s=np.array([0.12, 0.12, 0.12, 0.03, 0.25, 0.30]),
    spread_s=np.array([0.16, 0.15, 0.15, 0.08, 0.20, 0.30]),
    shared_log=0.40,
    own_log=0.50,
)
#: Lapses before any attempt: four in a thousand actions, known as well as a hundred would tell.
_LAPSES, _NO_LAPSES = 0.4, 99.6
#: Student's distribution with so many degrees of freedom, scaled to the spread: a guess.
_TAILS = 4.0
#: Each attempt that came after takes this share off what an attempt tells: a guess.
_FADES = 0.08
_DRAWS, _TRIES = 400, 60
_ENDS = (0.05, 0.95)  # of intervals that hold nine times in ten
#: Leads that are tried: from acting early to being called half a second ahead. [s]
_LEAST_LEAD_S, _MOST_LEAD_S = -0.2, 0.6
#: Nobody reacts to what they see in less. [s]
_QUICKEST_S = 0.1
#: What has a lead: the cue of a beat or of a reaction cannot be moved.
_LED: tuple[Kind, ...] = ("key", "press", "release")


@dataclass(frozen=True, slots=True)
class Habit:
    """One kind of action: later by ``bias_s`` on average, give or take ``spread_s``. [s]

    Each with the ends of its 90 % interval; ``count`` actions were seen.
    """

    kind: Kind
    bias_s: float
    bias_low_s: float
    bias_high_s: float
    spread_s: float
    spread_low_s: float
    spread_high_s: float
    count: int


@dataclass(frozen=True, slots=True)
class StepChance:
    """How likely a step is missed, by its name."""

    step: str
    miss: float


@dataclass(frozen=True, slots=True)
class Prediction:
    """The next attempt.

    Attributes
    ----------
    chance, low, high
        Of passing: expected, and a 90 % interval for this person's own chance.
    steps
        Each step's chance of being missed, the worst first.
    leads, led_chance
        The leads that help most and the chance with them. [s]
    attempts
        How many attempts it rests on.
    """

    chance: float
    low: float
    high: float
    steps: tuple[StepChance, ...]
    leads: Mapping[Kind, float]
    led_chance: float
    attempts: int


@dataclass(frozen=True)
class PersonTiming:
    """What is known of a person: draws from the posterior.

    ``bias_s`` and ``spread_s`` have shape (draws, kinds) in the order of ``KINDS``; ``lapse`` is
    the chance that one action goes wrong altogether, shape (draws,); ``counts`` says how many
    actions of each kind were seen.
    """

    bias_s: Floats
    spread_s: Floats
    lapse: Floats
    counts: Mapping[Kind, int]
    attempts: int
    seed: int = 0

    def habit(self, kind: Kind) -> Habit:
        """One kind of action in figures."""
        place = KINDS.index(kind)
        bias, spread = self.bias_s[:, place], self.spread_s[:, place]
        b_low, b_high = (float(np.quantile(bias, end)) for end in _ENDS)
        s_low, s_high = (float(np.quantile(spread, end)) for end in _ENDS)
        return Habit(
            kind, float(bias.mean()), b_low, b_high, float(np.median(spread)), s_low, s_high,
            self.counts.get(kind, 0),
        )  # fmt: skip

    def predict(
        self, procedure: Procedure, leads: Leads | None = None, *, follows: bool = True
    ) -> Prediction:
        """The chance of passing the next attempt.

        Parameters
        ----------
        procedure
            What will be attempted.
        leads
            In force. [s]
        follows
            Whether the coach will see what is done and move its plan.
        """
        leads = dict(leads or {})
        tried = _Tried(self, procedure, follows)
        passed, missed = tried.attempt(leads)
        best, led = tried.best_leads(leads, float(passed.mean()))
        low, high = (float(np.quantile(passed, end)) for end in _ENDS)
        steps = tuple(
            StepChance(name, miss)
            for name, miss in sorted(missed.items(), key=lambda item: -item[1])
        )
        return Prediction(float(passed.mean()), low, high, steps, best, led, self.attempts)


class _Tried:
    """Simulated attempts of one person: the same random errors for every choice of leads."""

    def __init__(self, person: PersonTiming, procedure: Procedure, follows: bool) -> None:
        self._procedure, self._person, self._follows = procedure, person, follows
        self._limits = limits(procedure)
        edges = edges_of(procedure)
        kinds = [KINDS.index(edge.kind) for edge in edges]
        beats = [edge.kind == "beat" for edge in edges]
        rng = np.random.default_rng([person.seed, 71])
        noise = rng.standard_t(_TAILS, (len(person.lapse), _TRIES, len(edges)))
        noise *= math.sqrt((_TAILS - 2.0) / _TAILS)
        bias = person.bias_s[:, None, kinds]
        off = person.spread_s[:, None, kinds] * noise
        # Two beats' own errors make up the change from one to the other.
        off[:, :, beats] *= math.sqrt(0.5)
        errors = off + bias
        for place in np.flatnonzero(beats):
            errors[:, :, place] += errors[:, :, place - 1] - off[:, :, place - 1] * beats[place - 1]
        # Nobody answers an event before it.
        reacts = np.array([edge.kind == "react" for edge in edges], dtype=bool)
        errors[:, :, reacts] = np.maximum(errors[:, :, reacts], _QUICKEST_S)
        # A procedure that only waits asks nobody for anything.
        self._errors: Floats = errors.reshape(len(person.lapse) * _TRIES, len(edges))

    def attempt(self, leads: Leads) -> tuple[Floats, dict[str, float]]:
        """Chance of passing by draw, and each step's chance of being missed."""
        times = action_times(self._procedure, self._errors, leads, follows=self._follows)
        good = np.ones(len(times), dtype=bool)
        missed: dict[str, NDArray[np.bool_]] = {}
        shares: dict[str, float] = {}
        for limit in self._limits:
            kept = within(times, limit)
            missed[limit.step] = missed.get(limit.step, np.zeros_like(good)) | ~kept
            good &= kept
        by_draw = good.reshape(len(self._person.lapse), -1).mean(axis=1)
        without = self._without_lapse
        for name, one in missed.items():
            kept = 1.0 - one.reshape(len(self._person.lapse), -1).mean(axis=1)
            shares[name] = 1.0 - float((kept * without.get(name, 1.0)).mean())
        return by_draw * np.prod(list(without.values()), axis=0), shares

    @cached_property
    def _without_lapse(self) -> dict[str, Floats]:
        """Each step's chance that none of its actions goes wrong altogether, by draw."""
        actions = Counter(edge.step for edge in edges_of(self._procedure))
        return {step: (1.0 - self._person.lapse) ** count for step, count in actions.items()}

    def best_leads(self, leads: Leads, chance: float) -> tuple[dict[Kind, float], float]:
        """Leads near this person's biases, if they help at all."""
        best, found = dict(leads), chance
        asked = {edge.kind for edge in edges_of(self._procedure)}
        usual = self._usual
        for share in (0.5, 1.0):
            for only in (None, *_LED):
                tried = dict(best)
                for kind in _LED if only is None else (only,):
                    if kind in asked:
                        tried[kind] = share * usual[kind] + (1.0 - share) * leads.get(kind, 0.0)
                passed = float(self.attempt(tried)[0].mean())
                if passed > found + 0.002:
                    best, found = tried, passed
        return {kind: round(value, 2) for kind, value in best.items()}, found

    @cached_property
    def _usual(self) -> dict[Kind, float]:
        means = self._person.bias_s.mean(axis=0)
        return {
            kind: float(np.clip(means[KINDS.index(kind)], _LEAST_LEAD_S, _MOST_LEAD_S))
            for kind in _LED
        }


def learn_timing(attempts: Sequence[KeptAttempt], *, seed: int = 0) -> PersonTiming:
    """What attempts tell of a person, on top of the prior; attempts of one person only.

    Attempts in which the computer failed, or that were stopped, count for nothing.
    """
    counting = [one for one in attempts if one.counts]
    errors: dict[Kind, list[tuple[float, float, float]]] = {kind: [] for kind in KINDS}
    lapses = actions = 0.0
    for age, one in enumerate(reversed(counting)):
        weight = (1.0 - _FADES) ** age
        lapses += weight * one.slipped
        actions += weight * len(one.timings)
        for kind, error, give in _errors(one.timings):
            # Off by more than a second is a slip, not a timing; it is counted as such.
            if kind in errors and abs(error) < 1.0 + (kind == "react"):
                errors[kind].append((error, give, weight))
    seen = [Seen.of(errors[kind]) for kind in KINDS]
    rng = np.random.default_rng([seed, 67])
    bias, spread = posterior(PRIOR, seen, _DRAWS, rng)
    lapse = rng.beta(_LAPSES + lapses, _NO_LAPSES + actions, _DRAWS)
    counts = {kind: len(errors[kind]) for kind in KINDS}
    seen_attempts = sum(bool(one.timings) for one in counting)
    return PersonTiming(bias, spread, lapse, counts, seen_attempts, seed)


def _errors(timings: Sequence[Timing]) -> Iterator[tuple[Kind, float, float]]:
    """How late each action was, a beat against the one before; and how far that may be off. [s]"""
    before: Timing | None = None
    for one in timings:
        late = one.done_s - one.cued_s
        if one.kind != "beat":
            yield one.kind, late, one.give_s
        elif before is not None and before.step == one.step:
            more = late - (before.done_s - before.cued_s)
            yield one.kind, more, math.hypot(one.give_s, before.give_s)
        before = one
