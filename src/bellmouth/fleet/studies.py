"""What one recording says of its car's unknowns under each hypothesis, as Gaussians.

Each hypothesis's posterior is taken as normal about its best fit (Laplace). With the prior it was
found under divided out, what is left is a likelihood that any other prior can be multiplied into.
Coordinates here are *broad*: 0 and 1 are mean and standard deviation of the prior over any car.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Car
from bellmouth.finding.belonging import Asked, problem_of
from bellmouth.finding.family import Family
from bellmouth.finding.habit import any_habit, idle_sides
from bellmouth.finding.hypothesis import Hypotheses, enumerate_hypotheses
from bellmouth.finding.infer import Posterior, infer_many
from bellmouth.finding.key_on import key_on
from bellmouth.finding.lowest_idle import lowest_idle
from bellmouth.finding.nominal import nominal_of, scale_of
from bellmouth.finding.nuisance import LEARNED, Unknowns, unknowns
from bellmouth.finding.observations import observe
from bellmouth.finding.plate_position import plate_position
from bellmouth.finding.priors import load_priors
from bellmouth.finding.suitable import refuse_foreign, usable
from bellmouth.recording.stretch import Stretch

__all__ = ["Broad", "Study", "ask", "broad_of", "log_overlap", "study_many"]

Floats = NDArray[np.float64]

_FURTHEST = 4.0  # standard deviations of the prior that a likelihood may point away


@dataclass(frozen=True)
class Broad:
    """Mean and standard deviation of the learnt unknowns for any car, (coordinates,)."""

    mean: Floats
    sd: Floats


@dataclass(frozen=True)
class Study:
    """One recording under every hypothesis.

    ``log_evidence`` (hypotheses,) under the prior it was studied with, whose ``log_overlap``
    (hypotheses,) is the part that another prior replaces; ``precision`` (hypotheses, coordinates,
    coordinates) and ``pull`` (hypotheses, coordinates) are the likelihood
    ``exp(pull·u - u·precision·u / 2)`` in broad coordinates.
    """

    hypotheses: Hypotheses
    log_evidence: Floats
    log_unexplained: float
    log_overlap: Floats
    precision: Floats
    pull: Floats
    idling: "Idling"


@dataclass(frozen=True)
class Idling:
    """The lowest warm idle: what the owner says it should be [rpm], the spark [deg], and the
    logarithm of the air that the engine gets under each hypothesis (hypotheses,); NaN where it
    is not known. ``plain`` (hypotheses,) are those without surplus air."""

    told_rpm: float
    timing_deg: float
    log_air: Floats
    plain: NDArray[np.bool_]


def ask(judged: Sequence[Stretch], car: Car, source: str = "recording") -> Asked:
    """All that a posterior over causes is made from, for one recording without a reference.

    Raises
    ------
    FindingError
        If the recording cannot be asked this.
    """
    usable(judged, source)
    priors = load_priors()
    observations = observe(judged, (), car)
    refuse_foreign(observations, judged, source)
    nominal = nominal_of(observations, priors)
    scale = scale_of(observations, nominal, priors)
    hypotheses = enumerate_hypotheses(priors, scale, observations)
    plate = plate_position(observations, priors, hypotheses, scale)
    off = key_on(observations, priors, hypotheses)
    idle = partial(idle_sides, observations, car, priors, hypotheses, scale)
    return Asked(
        observations, car, priors, nominal, hypotheses, lambda habit: (*idle(habit), plate, off)
    )


def broad_of(asked: Asked) -> Broad:
    """The prior over any car of this displacement and metering."""
    base = unknowns(asked.observations, asked.car, asked.priors)
    places = [base.index(name) for name in LEARNED]
    mean = base.mean[places].copy()
    mean[LEARNED.index("fuel_level")] = asked.priors.fuel["log_level"][0]
    return Broad(mean, base.sd[places].copy())


def study_many(asked: Sequence[Asked], broad: Broad, family: Family | None) -> list[Study]:
    """Study recordings under the family's prior as it is known so far, or the broad one; each gets
    what it gets alone, for less.

    Raises
    ------
    numpy.linalg.LinAlgError
        If one of them cannot be inferred.
    """
    habit = any_habit(load_priors()) if family is None else family.habit
    problems = [problem_of(one, family, habit) for one in asked]
    posteriors = infer_many(problems)
    return [
        _study(one, problem.model.unknowns, posterior, broad)
        for one, problem, posterior in zip(asked, problems, posteriors, strict=True)
    ]


def _study(asked: Asked, used: Unknowns, posterior: Posterior, broad: Broad) -> Study:
    base = unknowns(asked.observations, asked.car, asked.priors)
    hypotheses: Any = asked.hypotheses
    precision, pull, overlap = _likelihoods(posterior, hypotheses, base, used, broad)
    return Study(
        hypotheses=hypotheses,
        log_evidence=posterior.log_evidence,
        log_unexplained=posterior.log_unexplained,
        log_overlap=overlap,
        precision=precision,
        pull=pull,
        idling=_idling(asked, posterior, hypotheses),
    )


def _idling(asked: Asked, posterior: Posterior, hypotheses: Hypotheses) -> Idling:
    o, car = asked.observations, asked.car
    _, air, *_rest = asked.sides(any_habit(asked.priors))
    every = np.arange(hypotheses.count)
    told: Any = air
    return Idling(
        told_rpm=float("nan") if car.idle_rpm is None else car.idle_rpm.value,
        timing_deg=lowest_idle(o, asked.priors.idle_speed, o.judged).timing_deg,
        log_air=told.log_air + told.correction(every, posterior.sizes),
        plain=np.array(
            [not {"leak", "learned_stale"} & set(causes) for causes in hypotheses.causes]
        ),
    )


def _likelihoods(
    posterior: Posterior, hypotheses: Hypotheses, base: Unknowns, used: Unknowns, broad: Broad
) -> tuple[Floats, Floats, Floats]:
    """Precision and pull of each hypothesis's likelihood, and the overlap with the prior used."""
    size, places = used.size, [used.index(name) for name in LEARNED]
    information = posterior.curvature.copy()
    width = np.nan_to_num(hypotheses.high - hypotheses.low, nan=1.0)
    # A uniform size as the normal of its variance, so that one that nothing bears on stays finite.
    for place in (0, 1):
        information[:, size + place, size + place] += 12.0 / width[:, place] ** 2
    covariance = np.linalg.inv(information)[:, places][:, :, places]
    own = np.linalg.inv(covariance)
    best = posterior.coordinates[:, places]
    likelihood = own - np.eye(len(places))
    value, vector = np.linalg.eigh(0.5 * (likelihood + np.swapaxes(likelihood, 1, 2)))
    across = np.swapaxes(vector, 1, 2)
    value = np.maximum(value, _least((across @ best[:, :, None])[:, :, 0]))
    likelihood = (vector * value[:, None, :]) @ across
    at = best + (likelihood @ best[:, :, None])[:, :, 0]
    # From the coordinates of the prior used, w, to broad ones: u = start + turn w.
    turn = np.eye(len(places)) if used.turn is None else used.turn[np.ix_(places, places)]
    turn = (used.sd[places] / broad.sd)[:, None] * turn
    own_shift = base.mean[places] - broad.mean
    own_shift[[n != "fuel_level" for n in LEARNED]] = 0.0
    start = (used.mean[places] - own_shift - broad.mean) / broad.sd
    back = np.linalg.inv(turn)
    precision = back.T @ likelihood @ back
    pull = at @ back + (precision @ start)
    return precision, pull, log_overlap(precision, pull, start, turn @ turn.T)


def _least(best: Floats) -> Floats:
    """Least precision of a likelihood whose posterior lies at ``best``: one that knows next to
    nothing may not point without end, or the family is drawn after it."""
    away = np.minimum(np.abs(best), 0.75 * _FURTHEST)
    return np.asarray(away / (_FURTHEST - away))


def log_overlap(precision: Floats, pull: Floats, mean: Floats, covariance: Floats) -> Floats:
    """Logarithm of the mean of ``exp(pull·u - u·precision·u / 2)`` over normal u, (batch,)."""
    inverse = np.linalg.inv(covariance)
    together = inverse + precision
    toward = inverse @ mean + pull
    best = np.linalg.solve(together, toward[:, :, None])[:, :, 0]
    _, log_det = np.linalg.slogdet(together)
    _, log_prior = np.linalg.slogdet(covariance)
    square = (toward * best).sum(axis=1) - mean @ inverse @ mean
    return np.asarray(0.5 * (square - log_det - log_prior))
