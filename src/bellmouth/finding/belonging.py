"""The unknowns of a car that is said to be of a family, and what if it is not.

Every question is put twice: with the family's prior, and with the broad one of any car. The two
answers are weighed by how well each foretold the readings, so that a wrong family file costs a few
nats of evidence and cannot force a verdict.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Car
from bellmouth.finding import model_error
from bellmouth.finding.family import Family
from bellmouth.finding.habit import Habit, any_habit
from bellmouth.finding.infer import Grid, HypothesisTable, Posterior, Problem, SideLog, infer
from bellmouth.finding.model import Model
from bellmouth.finding.nominal import Nominal
from bellmouth.finding.nuisance import Unknowns, unknowns
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors

__all__ = ["BELONGS", "Asked", "Inferred", "infer_one", "infer_with", "problem_of", "within"]

Floats = NDArray[np.float64]

#: Weight that a car said to be of a family is of it: common practice, no source.
BELONGS = 0.95


@dataclass(frozen=True)
class Asked:
    """All that a posterior is made from, but for the prior over the car's unknowns.

    ``sides`` makes what is not Gaussian, for a habit of idling where one is to be held against.
    """

    observations: Observations
    car: Car
    priors: Priors
    nominal: Nominal
    hypotheses: HypothesisTable
    sides: Callable[[Habit | None], Sequence[SideLog]]


@dataclass(frozen=True)
class Inferred:
    """A posterior and what it was worked out with. ``belongs`` is the probability that the car is
    of the family it is said to be of, None where no family was given."""

    model: Model
    covariances: Floats
    posterior: Posterior
    belongs: float | None = None


def infer_with(asked: Asked, family: Family | None) -> Inferred:
    """Infer every hypothesis, under the family's prior and the broad one where there is one."""
    if family is None:
        return _infer(asked, None, None)
    broad, narrow = infer_one(asked, None), infer_one(asked, family)
    own = _whole(narrow.posterior) + np.log(BELONGS)
    any_car = _whole(broad.posterior) + np.log1p(-BELONGS)
    belongs = float(np.exp(own - np.logaddexp(own, any_car)))
    chosen, other = (narrow, broad) if belongs >= 0.5 else (broad, narrow)
    weights = (BELONGS, 1.0 - BELONGS) if belongs >= 0.5 else (1.0 - BELONGS, BELONGS)
    mixed = _mixed(chosen.posterior, other.posterior, np.log(weights))
    return Inferred(chosen.model, chosen.covariances, mixed, belongs)


def infer_one(asked: Asked, family: Family | None) -> Inferred:
    """Infer under the family's prior, or under that of any car about the same readings."""
    return _infer(asked, family, any_habit(asked.priors) if family is None else family.habit)


def problem_of(asked: Asked, family: Family | None = None, habit: Habit | None = None) -> Problem:
    """What is to be inferred: under the family's prior, beside a habit of idling, or without."""
    base = unknowns(asked.observations, asked.car, asked.priors)
    chosen = base if family is None else within(base, family, asked.priors)
    rough = asked.nominal
    model = Model(asked.observations, chosen, rough.unknown_pa, absolute=habit is not None)
    covariances = model_error.covariances(model, asked.priors, rough.flow_kg_s, rough.pressure_pa)
    scales = model_error.scale_weights(model, asked.priors)
    strange = model_error.banks_apart(model, asked.priors, covariances[:-1])
    sides = tuple(asked.sides(habit))
    return Problem(model, asked.hypotheses, covariances, scales, sides, strange)


def _infer(asked: Asked, family: Family | None, habit: Habit | None) -> Inferred:
    problem = problem_of(asked, family, habit)
    return Inferred(problem.model, problem.covariances, infer(problem))


def within(base: Unknowns, family: Family, priors: Priors) -> Unknowns:
    """The unknowns of a car of the family: theirs where it knows them, the broad ones beside."""
    places = [base.index(name) for name in family.coordinates]
    mean, sd, turn = base.mean.copy(), base.sd.copy(), np.eye(base.size)
    mean[places], sd[places] = family.mean, family.sd
    # What the owner says is in the tank moves this car's fuel, not its family's.
    fuel = base.index("fuel_level")
    if fuel in places:
        mean[fuel] += base.mean[fuel] - priors.fuel["log_level"][0]
    turn[np.ix_(places, places)] = np.linalg.cholesky(family.correlation)
    return replace(base, mean=mean, sd=sd, turn=turn)


def _whole(posterior: Posterior) -> float:
    """Log evidence of the readings, every hypothesis counted alike."""
    logs = np.append(posterior.log_evidence, posterior.log_unexplained)
    return float(np.logaddexp.reduce(logs) - np.log(len(logs)))


def _mixed(chosen: Posterior, other: Posterior, log_weight: Floats) -> Posterior:
    """Both priors' evidence and sizes, each with its weight; the best fit is the likelier one's."""
    grids = [one.grid for one in (chosen, other)]
    which = np.concatenate([grid.hypothesis for grid in grids])
    sizes = np.concatenate([grid.sizes for grid in grids])
    weight = np.concatenate(
        [grid.log_weight + w for grid, w in zip(grids, log_weight, strict=True)]
    )
    likelihood = np.concatenate([grid.log_likelihood for grid in grids])
    order = np.lexsort((sizes[:, 1], sizes[:, 0], which))
    grid = Grid(which[order], sizes[order], weight[order], likelihood[order])
    evidence = np.logaddexp(chosen.log_evidence + log_weight[0], other.log_evidence + log_weight[1])
    strange = np.logaddexp(
        chosen.log_unexplained + log_weight[0], other.log_unexplained + log_weight[1]
    )
    return replace(chosen, log_evidence=evidence, log_unexplained=float(strange), grid=grid)
