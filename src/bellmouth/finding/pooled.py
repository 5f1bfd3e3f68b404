"""Many recordings' models evaluated in one go: the arrays of one are small, the calls are not.

Only what works element by element is pooled, so that a recording's figures do not depend on what
stands beside it; linear algebra stays with each recording (`infer`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.effects import Effects, Shared, Sharing
from bellmouth.finding.model import Model
from bellmouth.finding.sensitivity import point_slopes

__all__ = ["Answer", "Pools", "Question"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

# Points are padded to one of these, or beyond to the most there are: finer where many stand
# together, or there would be more calls than what the padding costs.
_POINTS, _POINTS_OF_MANY, _MANY = (4, 12), (3, 5, 7, 12), 70
# What the equations read at each point, and the channel or kind of model that alone does.
_OBSERVED = {
    "metered_kg_s": "",
    "computed_kg_s": "computed",
    "manifold_pa": "",
    "boost_pa": "boosted",
    "throttle_pct": "",
    "opening_pct": "opening",
}
_DERIVED = {
    "_ambient": "",
    "_flux": "",
    "_swept": "",
    "log_speed": "",
    "log_relative_flow": "",
    "unchoked": "",
    "has_manifold": "guesses",
    "has_boost": "boosted",
}
_TRIMS = ("log_trim", "trim_gap", "trim_limit")


@dataclass(frozen=True)
class Question:
    """Residuals wanted at ``coordinates`` (batch, unknowns), with or without their slopes there.

    ``shared`` says what members have in common, where that is known: then the coordinates are
    given once for those that have the same.
    """

    coordinates: Floats
    effects: Effects
    slopes: bool = False
    shared: Shared | None = None

    @property
    def batch(self) -> int:
        """How many members there are."""
        return len(self.effects.bend_sd)


@dataclass(frozen=True)
class Answer:
    """Residuals (batch, residuals) and slopes (batch, residuals, unknowns; empty if not asked)."""

    residuals: Floats
    slopes: Floats


class _Stack:
    """Arrays of several models side by side, padded to a common number of points."""

    def __init__(self, models: Sequence[Model]) -> None:
        points = max(model.observations.points for model in models)
        at = [np.minimum(np.arange(points), model.observations.points - 1) for model in models]
        self.models = models
        self.kinds = tuple({kind: None for model in models for kind in model.kinds})
        self.compared = [model.compared(self.kinds, points) for model in models]
        self.boosted, self.guesses = (
            any(getattr(model, name) for model in models) for name in ("boosted", "guesses")
        )
        read = {"", *self.kinds, "boosted" * self.boosted, "guesses" * self.guesses}
        self.observed = [name for name, by in _OBSERVED.items() if by in read]
        self.derived = [name for name, by in _DERIVED.items() if by in read]
        self.banks = 2 if "trim 2" in self.kinds else 1
        each = [
            self._of(model).take(where, axis=1) for model, where in zip(models, at, strict=True)
        ]
        self.arrays = np.stack(each, axis=2)
        self.each = np.array(
            [[float(model.two_banks), model.throttle_reference_pct] for model in models]
        )
        self.unknowns = np.stack([np.stack([m.unknowns.mean, m.unknowns.sd]) for m in models], 1)

    def _of(self, model: Model) -> Floats:
        """What is read of a model, (arrays, points), in the order of `_Pool`."""
        o = model.observations
        observed = (getattr(o, name) for name in self.observed)
        derived = (getattr(model, name) for name in self.derived)
        trims = (getattr(o, name)[:, bank] for name in _TRIMS for bank in range(self.banks))
        return np.stack([*observed, *derived, *trims])


class _Pool(Model):
    """Models of one recording each as one whose every row of the batch has points of its own."""

    def __init__(self, stack: _Stack, owner: Ints) -> None:
        # Not as `Model` does it: there is nothing to select here, only arrays to lay out.
        first = stack.models[0]
        # Members lie side by side in memory: what they have one of each is then spread over points
        # in long runs.
        arrays = np.swapaxes(stack.arrays.take(owner, axis=2), 1, 2)
        observed = dict(zip(stack.observed, arrays, strict=False))
        for name, array in zip(stack.derived, arrays[len(stack.observed) :], strict=False):
            setattr(self, name, array if not name.startswith("has_") else array != 0.0)
        trims = arrays[len(stack.observed) + len(stack.derived) :]
        for place, name in enumerate(_TRIMS):
            banks = trims[place * stack.banks : (place + 1) * stack.banks]
            observed[name] = np.moveaxis(banks, 0, -1)
        self.observations = replace(
            first.observations,
            **observed,
            speed_rev_s=arrays[0],  # for its shape alone
            judged=np.ones(1, dtype=np.bool_),
        )
        self.boosted, self.guesses = stack.boosted, stack.guesses
        mean, sd = stack.unknowns.take(owner, axis=1)
        self.unknowns = replace(first.unknowns, mean=mean, sd=sd)
        self.healthy_bend_sd = first.healthy_bend_sd
        self._judged, self.alone = np.ones(1), True
        self.two_banks, self.throttle_reference_pct = stack.each.take(owner, axis=0).T[:, :, None]
        self.reference_recording, self.reference_is_judged = 0, True
        self.kinds = stack.kinds


class Pools:
    """Answers questions to many models, keeping what it has laid out side by side."""

    def __init__(self) -> None:
        self._stacks: dict[tuple[int, ...], _Stack] = {}

    def answers(self, models: Sequence[Model], questions: Sequence[Question]) -> list[Answer]:
        """One answer a question, each put to the model in its place."""
        found: dict[int, Answer] = {}
        groups: dict[object, list[int]] = {}
        sizes = _POINTS_OF_MANY if len(models) >= _MANY else _POINTS
        for number, (model, question) in enumerate(zip(models, questions, strict=True)):
            groups.setdefault(_alike(model, question, number, sizes), []).append(number)
        for group in groups.values():
            told = self._together([models[n] for n in group], [questions[n] for n in group])
            found.update(zip(group, told, strict=True))
        return [found[number] for number in range(len(models))]

    def _together(self, models: Sequence[Model], questions: Sequence[Question]) -> list[Answer]:
        counts = [question.batch for question in questions]
        if len(models) == 1:
            pool, coordinates, effects = models[0], questions[0].coordinates, questions[0].effects
            compared = [pool.compared()]
        else:
            stack = self._stack(models)
            compared = stack.compared
            pool = _Pool(stack, np.repeat(np.arange(len(models)), counts))
            coordinates = np.concatenate([question.coordinates for question in questions])
            effects = Effects.joined([question.effects for question in questions])
        shared = questions[0].shared if len(models) == 1 else None
        state = pool.states(coordinates, effects, shared or Sharing())
        residuals = pool.point_residuals(state, effects)
        slopes = point_slopes(pool, effects, state) if questions[0].slopes else None
        result = []
        stop = 0
        for model, count, places in zip(models, counts, compared, strict=True):
            mine = slice(stop, stop := stop + count)
            slope = _NONE
            if slopes is not None:
                slope = slopes[mine].take(places, axis=1)
                slope = model.unknowns.in_coordinates(slope, effects.bend_sd[mine])
            result.append(Answer(residuals[mine].take(places, axis=1), slope))
        return result

    def _stack(self, models: Sequence[Model]) -> _Stack:
        key = tuple(map(id, models))  # alive as long as this object: the stack holds them
        if key not in self._stacks:
            self._stacks[key] = _Stack(models)
        return self._stacks[key]


def _alike(model: Model, question: Question, number: int, sizes: Sequence[int]) -> object:
    """What questions must share to be answered together. Recordings with references answer alone,
    and so do those beside a family, and large questions: many of those together no longer fit the
    processor's own memory."""
    o = model.observations
    beside = model.unknowns.turn is not None or "closed" in model.kinds
    if o.recordings > 1 or beside or not model.kinds or question.shared:
        return number
    points = next((size for size in sizes if size >= o.points), 0)
    return o.airflow_metered, points, question.slopes, model.healthy_bend_sd


_NONE = np.zeros((0, 0, 0))
