"""Before against after: did the work help, inferred jointly.

Both recordings share the car's unknowns (filling, plate, sensors, model error), so what differs
between them is told far better than either alone: every course from before to after is a
hypothesis, integrated as `infer` does.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.complaint import parse_complaint
from bellmouth.car.description import Car, Complaint
from bellmouth.errors import FindingError
from bellmouth.finding import model_error, nominal
from bellmouth.finding.courses import AFTER, BEFORE, Course, Courses, courses_of
from bellmouth.finding.find import hypothesis_weights, refuse_same, weights_of
from bellmouth.finding.hypothesis import Hypotheses, Scale, enumerate_hypotheses
from bellmouth.finding.idle_pair import idle_pair
from bellmouth.finding.infer import Posterior, infer
from bellmouth.finding.key_on import key_on
from bellmouth.finding.model import Model
from bellmouth.finding.nuisance import unknowns
from bellmouth.finding.observations import Observations, judgeable, observe
from bellmouth.finding.plate_position import plate_position
from bellmouth.finding.priors import Priors, load_priors
from bellmouth.finding.proof_result import Proof
from bellmouth.finding.suitable import refuse_foreign, usable
from bellmouth.finding.verdict import verdict_of
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches
from bellmouth.recording.stretch import Stretch

__all__ = ["Pair", "course_weights", "prove", "solve_pair"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Pair:
    """Everything a proof was made from; tests and accuracy start here."""

    observations: Observations
    model: Model
    hypotheses: Hypotheses
    courses: Courses
    scale: Scale
    posterior: Posterior
    priors: Priors
    stretches: tuple[tuple[Stretch, ...], tuple[Stretch, ...]]


def prove(
    before: Recording,
    after: Recording,
    car: Car,
    *,
    references: Sequence[Recording] = (),
    prior: Mapping[str, float] | str | Path | None = None,
    complaint: str | None = None,
) -> Proof:
    """Whether what was done between two recordings of one car helped.

    Parameters
    ----------
    before, after
        Recordings from before and after the work.
    car
        What the owner knows about the car.
    references
        Recordings of the same car when it was good.
    prior
        Weights of the causes before the work instead of the complaint's.
    complaint
        What the owner said before the work; overrides the car's own.

    Raises
    ------
    FindingError
        If one of the recordings cannot be asked this, both are the same, or they do not report
        the same metering.
    """
    said: Complaint = parse_complaint(complaint) if complaint else (car.complaint or "unknown")
    for one, other in ((before, after), *((after, good) for good in references)):
        refuse_same(one, other)
    _refuse_other_metering(before, after)
    found = [stretches(one) for one in (before, after, *references)]
    pair = solve_pair(found[0], found[1], found[2:], car, (before.source, after.source))
    weights = course_weights(pair, weights_of(prior, said))
    return verdict_of(pair, weights, after)


def solve_pair(
    before: Sequence[Stretch],
    after: Sequence[Stretch],
    references: Sequence[Sequence[Stretch]],
    car: Car,
    sources: tuple[str, str] = ("before", "after"),
) -> Pair:
    """Infer every course from stretches; the part of `prove` between files and words."""
    for part, source in zip((before, after), sources, strict=True):
        usable(part, source)
    priors = load_priors()
    good = [one for one in references if judgeable(one)]
    observations = observe(before, [after, *good], car)
    refuse_foreign(observations, sources[0])
    unknown_pa = priors.weather["barometric_kpa"][0] * 1e3
    flow, pressure = nominal.flow_and_pressure(observations, priors, unknown_pa)
    scale = nominal.scale_of(observations, flow, pressure, priors, unknown_pa)
    model = Model(observations, unknowns(observations, car, priors), unknown_pa)
    hypotheses = enumerate_hypotheses(priors, scale, observations)
    courses = courses_of(hypotheses, observations.recordings)
    covariances = model_error.covariances(model, priors, flow, pressure)
    sides = (
        idle_pair(observations, car, priors, courses, scale),
        plate_position(observations, priors, courses.seen_in(BEFORE), scale, BEFORE),
        key_on(observations, priors, courses.seen_in(BEFORE), BEFORE),
        key_on(observations, priors, courses.seen_in(AFTER), AFTER),
    )
    scale_weights = np.array(priors.model_error["scale_weights"])
    posterior = infer(model, courses, covariances, scale_weights, sides)
    kept = (tuple(before), tuple(after))
    return Pair(observations, model, hypotheses, courses, scale, posterior, priors, kept)


def course_weights(pair: Pair, weights: Mapping[str, float]) -> dict[Course, float]:
    """Weight of every course before the recordings are looked at; sums to 1."""
    prior = hypothesis_weights(weights, pair.hypotheses)
    table = pair.priors.proof
    new: Mapping[str, float] = table["new_shares"]
    raw: dict[Course, float] = {}
    for course in pair.courses.courses:
        came = prior[pair.hypotheses.names[pair.hypotheses.causes.index(course.held(BEFORE))]]
        raw[course] = came * _share(course, table, new)
    whole: dict[tuple[str, ...], float] = {}
    for course, weight in raw.items():
        whole[course.held(BEFORE)] = whole.get(course.held(BEFORE), 0.0) + weight
    total = sum(
        prior[name]
        for name, causes in zip(pair.hypotheses.names, pair.hypotheses.causes, strict=True)
        if whole.get(causes, 0.0) > 0
    )
    result = {}
    for course, weight in raw.items():
        held = course.held(BEFORE)
        name = pair.hypotheses.names[pair.hypotheses.causes.index(held)]
        result[course] = weight / whole[held] * prior[name] / total if weight > 0 else 0.0
    return result


def _share(course: Course, table: Mapping[str, float], new: Mapping[str, float]) -> float:
    """How likely a course is among those that start alike, not yet scaled to sum to 1."""
    came = [cause for cause in course.held(AFTER) if cause not in course.held(BEFORE)]
    if not course.before:
        # A fault that nothing before spoke of may be any.
        return 1.0 - table["new"] if not came else table["new"] * new.get(came[0], 0.03)
    if came:
        return table[course.step.replace(" ", "_")] * new[came[0]]
    return table[course.step.replace(" ", "_")]


def _refuse_other_metering(before: Recording, after: Recording) -> None:
    """Two recordings that meter their air differently are not of one car."""
    for name, what in (("mass_air_flow", "an airflow meter"),
                       ("intake_manifold_pressure", "manifold pressure")):  # fmt: skip
        if (name in before) == (name in after):
            continue
        has, lacks = (before, after) if name in before else (after, before)
        raise FindingError(
            f"{lacks.source} has no {name} but {has.source} has: before and after must report "
            f"{what} alike to be compared. Are they recordings of one car?"
        )

