"""Before against after: did the work help, inferred jointly.

Both recordings share the car's unknowns (filling, plate, sensors, model error), so what differs
between them is told far better than either alone: every course from before to after is a
hypothesis, integrated as `infer` does.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.complaint import parse_complaint
from bellmouth.car.description import Car, Complaint
from bellmouth.errors import FindingError
from bellmouth.finding.belonging import Asked, infer_with
from bellmouth.finding.check_table import CheckResult, counted
from bellmouth.finding.courses import AFTER, BEFORE, Course, Courses, courses_of
from bellmouth.finding.explain import taken_for_computed
from bellmouth.finding.family import Family, known_family
from bellmouth.finding.given import (
    refuse_no_car,
    refuse_other_kinds,
    the_recording,
    the_recordings,
    the_results,
    the_works,
)
from bellmouth.finding.hypothesis import Hypotheses, Scale, enumerate_hypotheses
from bellmouth.finding.idle_pair import idle_pair
from bellmouth.finding.infer import Posterior
from bellmouth.finding.key_on import key_on
from bellmouth.finding.loads_told import loads_told
from bellmouth.finding.model import Model
from bellmouth.finding.nominal import nominal_of, scale_of
from bellmouth.finding.observations import Observations, judgeable, observe
from bellmouth.finding.plate_position import plate_position
from bellmouth.finding.priors import Priors, load_priors
from bellmouth.finding.proof_checks import looked, looks
from bellmouth.finding.proof_result import Proof
from bellmouth.finding.result import OfFamily
from bellmouth.finding.same_car import other_software, refuse_other_cars
from bellmouth.finding.suitable import (
    refuse_dead,
    refuse_foreign,
    refuse_hopeless,
    refuse_the_same,
    unused_references,
    usable,
)
from bellmouth.finding.trims_said import trims_said
from bellmouth.finding.verdict import verdict_of
from bellmouth.finding.weights import hypothesis_weights, weights_of
from bellmouth.recording.quality import dead_sensors
from bellmouth.recording.series import Recording
from bellmouth.recording.stalled import stood_still
from bellmouth.recording.stand_ins import with_stand_ins
from bellmouth.recording.steady import stretches
from bellmouth.recording.stretch import Stretch

__all__ = ["Pair", "course_weights", "prove", "solve_pair", "works"]

Floats = NDArray[np.float64]
_ALIKE = 0.6  # of the parameters of the poorer recording: common practice, no source
_APART_INSTEAD = "Give a recording from before the work and another from after it."


@dataclass(frozen=True)
class Pair:
    """Everything a proof was made from; tests and accuracy start here.

    ``scales`` are what sizes are measured against before and after: with surplus air an engine
    idles on more. ``results`` are what checks after the work showed.
    """

    observations: Observations
    model: Model
    hypotheses: Hypotheses
    courses: Courses
    scales: tuple[Scale, Scale]
    posterior: Posterior
    priors: Priors
    stretches: tuple[tuple[Stretch, ...], tuple[Stretch, ...]]
    family: OfFamily | None = None
    results: tuple[CheckResult, ...] = ()


def prove(
    before: Recording,
    after: Recording,
    car: Car,
    *,
    references: Sequence[Recording] | Recording = (),
    prior: Mapping[str, float] | str | Path | None = None,
    complaint: str | None = None,
    done: Sequence[str] | str = (),
    results: Sequence[str | CheckResult] | str | CheckResult = (),
    family: Family | str | Path | None = None,
    loads_off: bool | None = None,
) -> Proof:
    """Whether what was done between two recordings of one car helped.

    Both share the car's unknowns; every course from what was wrong before to what is wrong after
    is weighed as `find` weighs causes.

    Parameters
    ----------
    before, after
        Recordings from before and after the work.
    car
        What the owner knows about the car. [units in its keys' names]
    references
        One or more recordings of the same car when it was good.
    prior
        Weights of the causes before the work instead of the complaint's. [-]
    complaint
        What the owner said before the work; overrides the car's own.
    done
        What was done in between, one or several of `works`; it moves the weights of the courses,
        no more.
    results
        What checks showed that were made after the work, as ``check=outcome``: those of `LOOKS`.
    family
        What was learnt from other cars of its engine family, or the file of it; by default the
        one that the car names.
    loads_off
        Whether every load (air conditioning, blower, lights, heated windows) was off while the
        engine idled, before and after; by default what each of the two recordings notes.

    Returns
    -------
    Proof
        The verdict and its probability [-]; of each cause the size before and after and its
        change, with units (mm, mm2, g/s or a ratio) and 90 % intervals; what is still needed.

    Raises
    ------
    FindingError
        If one of the recordings cannot be asked this, two of them are the same or of different
        cars, they do not report the same metering, or a recording, the car, a work, a result, a
        prior or a family is not one.
    CarError
        If the complaint is not known.

    References
    ----------
    The pages *Before against after* and *How a finding is made*; the weights of the courses stand
    in ``[proof]`` of ``finding/priors.toml``.
    """
    before, after = the_recording(before, "before"), the_recording(after, "after")
    if loads_off is not None:
        before, after = (replace(one, loads_off=loads_off) for one in (before, after))
    references = the_recordings(references, "references")
    results = the_results(results)
    works_done = the_works(done)
    refuse_no_car(car)
    refuse_other_kinds(prior, complaint, family)
    symptom: Complaint = parse_complaint(complaint) if complaint else (car.complaint or "unknown")
    refuse_the_same((before, after, *references), _APART_INSTEAD)
    refuse_other_cars((before, after, *references))
    for one in (before, after):
        refuse_hopeless(one)
        refuse_dead(one, car)
    _refuse_other_metering(before, after)
    found = [stretches(one) for one in (before, after, *references)]
    known = known_family(family, car)
    sources = (before.source, after.source)
    told = looks(results, car.metering)
    pair = looked(solve_pair(found[0], found[1], found[2:], car, sources, family=known), told)
    weights = course_weights(pair, weights_of(prior, symptom, known), works_done)
    proof = verdict_of(pair, weights, after)
    left = unused_references(list(zip(references, found[2:], strict=True)))
    warnings = (
        *counted(told),
        *_unlike(before, after),
        *other_software(before, after),
        *loads_told((before, after)),
        *_seen(before, after, references),
        *_trims(pair, (before, after)),
        *taken_for_computed(car, before),
        *left,
        *proof.warnings,
    )
    return replace(proof, warnings=warnings)


def _seen(before: Recording, after: Recording, references: Sequence[Recording]) -> Iterator[str]:
    """Stands of the engine and dead sensors, each with the recording that it was in."""
    for one in (before, after, *references):
        stood = stood_still(one) if one is before or one is after else []
        yield from (f"{one.source}: {sentence}" for sentence in (*stood, *dead_sensors(one)))


def _trims(pair: Pair, recordings: tuple[Recording, Recording]) -> Iterator[str]:
    """What was made of the trims before and after, each with its recording."""
    o = pair.observations
    for number, one in zip((BEFORE, AFTER), recordings, strict=True):
        said = trims_said(one, pair.stretches[number], o, o.recording == number)
        yield from (f"{one.source}: {sentence}" for sentence in said)


def _unlike(before: Recording, after: Recording) -> tuple[str, ...]:
    """What makes one doubt that both are of one car: it reports other parameters."""
    one, two = set(before.series), set(after.series)
    if len(one & two) >= _ALIKE * min(len(one), len(two)):
        return ()
    return (
        f"{before.source} and {after.source} share {len(one & two)} of "
        f"{min(len(one), len(two))} parameters: are they recordings of one car?",
    )


def solve_pair(
    before: Sequence[Stretch],
    after: Sequence[Stretch],
    references: Sequence[Sequence[Stretch]],
    car: Car,
    sources: tuple[str, str] = ("before", "after"),
    *,
    family: Family | None = None,
) -> Pair:
    """Infer every course from stretches; the part of `prove` between files and words."""
    for part, source in zip((before, after), sources, strict=True):
        usable(part, source)
    priors = load_priors().of(car)
    if family is not None:
        family.fits(car)
    good = [one for one in references if judgeable(one)]
    observations = observe(before, [after, *good], car)
    of = {number: observations.recording == number for number in (BEFORE, AFTER)}
    for number, part in ((BEFORE, before), (AFTER, after)):
        refuse_foreign(replace(observations, judged=of[number]), part, sources[number])
    nominal = nominal_of(observations, priors)
    scale, later = (
        scale_of(
            replace(observations, judged=of[number]),
            nominal,
            priors,
            good=observations.recording > BEFORE,
        )
        for number in (BEFORE, AFTER)
    )
    hypotheses = enumerate_hypotheses(priors, scale, observations)
    courses = courses_of(hypotheses, observations.recordings)
    sides = (
        idle_pair(observations, car, priors, courses, scale),
        plate_position(observations, priors, courses.seen_in(BEFORE), scale, (BEFORE,)),
        key_on(observations, priors, courses.seen_in(BEFORE), (BEFORE,)),
        key_on(observations, priors, courses.seen_in(AFTER), (AFTER,)),
    )
    asked = Asked(observations, car, priors, nominal, courses, lambda _: sides)
    result = infer_with(asked, family)
    return Pair(
        observations=observations,
        model=result.model,
        hypotheses=hypotheses,
        courses=courses,
        scales=(scale, later),
        posterior=result.posterior,
        priors=priors,
        stretches=(tuple(before), tuple(after)),
        family=OfFamily.told(family, result.belongs),
    )


def works() -> tuple[str, ...]:
    """The works that a proof can be told of."""
    return tuple(load_priors().proof["works"])


def course_weights(
    pair: Pair, weights: Mapping[str, float], done: Sequence[str] = ()
) -> dict[Course, float]:
    """Weight of every course before the recordings are looked at; sums to 1.

    Raises
    ------
    FindingError
        If ``done`` names a work that is not one of `works`.
    """
    table = pair.priors.proof
    for work in done:
        if work not in table["works"]:
            raise FindingError(f'work "{work}" is not known: use {", ".join(works())}.')
    prior = hypothesis_weights(weights, pair.hypotheses)
    before = {
        causes: prior[name]
        for causes, name in zip(pair.hypotheses.causes, pair.hypotheses.names, strict=True)
    }
    shares = {course: _share(course, table, done) for course in pair.courses.courses}
    whole: dict[tuple[str, ...], float] = {}
    for course, share in shares.items():
        whole[course.held(BEFORE)] = whole.get(course.held(BEFORE), 0.0) + share
    raw = {
        course: before[course.held(BEFORE)] * share / whole[course.held(BEFORE)]
        for course, share in shares.items()
    }
    total = sum(raw.values())
    return {course: weight / total for course, weight in raw.items()}


def _share(course: Course, table: Mapping[str, Any], done: Sequence[str]) -> float:
    """How likely a course is among those that start alike, not yet scaled to sum to 1."""
    told = [table["works"][work] for work in done]
    new: Mapping[str, float] = table["new_shares"]
    came = [cause for cause in course.held(AFTER) if cause not in course.held(BEFORE)]
    left = [cause for cause in course.held(BEFORE) if cause not in course.held(AFTER)]
    if not course.before:
        # A fault that nothing before spoke of may be any.
        share = (
            1.0 - table["new"] if not came else table["new"] * new.get(came[0], table["new_other"])
        )
    else:
        share = table[course.step.replace(" ", "_")] * (new[came[0]] if came else 1.0)
    for work in told:
        share *= table["cured"] if set(left) & set(work["cures"]) else 1.0
        for cause in came:
            share *= work["leaves"].get(cause, 1.0)
    if tuple(done) == ("nothing",) and left:
        share /= table["cured"]
    return float(share)


def _refuse_other_metering(before: Recording, after: Recording) -> None:
    """Two recordings that meter their air differently are not of one car."""
    metered = ["mass_air_flow" in with_stand_ins(one) for one in (before, after)]
    if metered[0] != metered[1]:
        has, lacks = (before, after) if metered[0] else (after, before)
        raise FindingError(
            f"{lacks.source} has no mass_air_flow but {has.source} has: before and after must "
            "meter their air alike to be compared. Are they recordings of one car?"
        )
