"""From a recording and a car to a finding: the one call that does it all."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.complaint import parse_complaint
from bellmouth.car.description import Car, Complaint
from bellmouth.errors import FindingError
from bellmouth.finding import nominal
from bellmouth.finding.belonging import Asked, Inferred, infer_with, problem_of
from bellmouth.finding.checks import (
    CheckResult,
    next_checks,
    parse_results,
    result_log,
    with_results,
)
from bellmouth.finding.disagree import remarks
from bellmouth.finding.explain import confusions, elsewhere, evidence_of, excluded_of, warnings_of
from bellmouth.finding.family import Family, known_family
from bellmouth.finding.habit import Habit, IdleAir, idle_sides
from bellmouth.finding.hypothesis import Hypotheses, Scale, enumerate_hypotheses
from bellmouth.finding.idle_beside import IdleBeside, idle_beside
from bellmouth.finding.idle_speed import IdleSpeed
from bellmouth.finding.infer import Posterior, Problem, SideLog, infer_many
from bellmouth.finding.key_on import KeyOn, key_on
from bellmouth.finding.load_level import LoadLevel, load_level
from bellmouth.finding.load_reading import LoadReading, load_reading
from bellmouth.finding.model import Model
from bellmouth.finding.observations import Observations, judgeable, observe
from bellmouth.finding.picture import draw
from bellmouth.finding.plate_position import PlatePosition, plate_position
from bellmouth.finding.priors import Priors, cause_weights, load_priors, read_weights, weights_from
from bellmouth.finding.result import CauseProbability, Finding, OfFamily
from bellmouth.finding.sizes import sizes_of
from bellmouth.finding.suitable import refuse_foreign, refuse_hopeless, refuse_the_same, usable
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches
from bellmouth.recording.stretch import Stretch

__all__ = [
    "Case",
    "Prepared",
    "find",
    "hypothesis_weights",
    "prepare",
    "solve",
    "solve_many",
    "weights_of",
]

Floats = NDArray[np.float64]

_GOOD_INSTEAD = "As reference give a recording of its own, made when the car was good."
_ONCE_INSTEAD = "Give only one of them, and once."


@dataclass(frozen=True)
class Case:
    """Everything a finding was made from; tests, accuracy and proofs start here."""

    observations: Observations
    model: Model
    hypotheses: Hypotheses
    covariances: Floats
    scale: Scale
    posterior: Posterior
    priors: Priors
    car: Car
    idle: IdleSpeed
    plate: PlatePosition
    key_on: KeyOn
    load: LoadReading
    beside: IdleBeside | None
    level: LoadLevel
    air: IdleAir | None = None
    family: OfFamily | None = None


def find(
    recording: Recording,
    car: Car,
    *,
    also: Sequence[Recording] = (),
    references: Sequence[Recording] = (),
    results: Sequence[str | CheckResult] = (),
    prior: Mapping[str, float] | str | Path | None = None,
    complaint: str | None = None,
    family: Family | str | Path | None = None,
) -> Finding:
    """What is wrong with the air path, how big, how sure, and what would settle it.

    Parameters
    ----------
    recording
        The recording to judge.
    car
        What the owner knows about the car.
    also
        More recordings of the car as it is now, nothing done in between: other speeds, another day.
    references
        Recordings of the same car when it was good; they share the car's unknowns.
    results
        What checks showed, as ``check=outcome`` (see `NextCheck.outcomes`).
    prior
        Weights of the causes instead of the complaint's: a mapping, or a TOML file of them.
    complaint
        What the owner says; overrides the car's own.
    family
        What was learnt from other cars of its engine family, or the file of it; by default the
        one that the car names.

    Raises
    ------
    FindingError
        If the recording cannot be asked this: no running engine, never warm, an unthrottled
        engine, or metering that the readings contradict.
    """
    said: Complaint = parse_complaint(complaint) if complaint else (car.complaint or "unknown")
    refuse_hopeless(recording)
    for reference in references:
        refuse_the_same((recording, reference), _GOOD_INSTEAD)
    refuse_the_same((recording, *also, *references), _ONCE_INSTEAD)
    judged = [(one, stretches(one)) for one in (recording, *also)]
    others = [(one, stretches(one)) for one in references]
    known = known_family(family, car)
    more, good = ([found for _, found in group] for group in (judged[1:], others))
    case = solve(judged[0][1], good, car, recording.source, also=more, family=known)
    weights = weights_of(prior, said, known)
    told = parse_results(results)
    if "closed_reading" not in {result.check for result in told}:
        told = (*told, *_from_the_car(case))
    finding = _report(case, weights, said, told, judged)
    unused = [
        f"recording {one.source}: no warm running engine in it"
        for one, found in judged[1:]
        if not judgeable(found)
    ]
    unused += [
        f"reference {one.source}: no warm running engine in it"
        for one, found in others
        if not judgeable(found)
    ]
    return replace(finding, excluded=(*finding.excluded, *unused))


@dataclass(frozen=True)
class Prepared:
    """A case before its hypotheses are weighed."""

    problem: Problem
    case: Callable[[Posterior], Case]


def solve(
    judged: Sequence[Stretch],
    references: Sequence[Sequence[Stretch]],
    car: Car,
    source: str = "recording",
    *,
    also: Sequence[Sequence[Stretch]] = (),
    family: Family | None = None,
) -> Case:
    """Infer every hypothesis from stretches; the part of `find` between files and words."""
    if family is None:
        return solve_many([prepare(judged, references, car, source, also=also)])[0]
    family.fits(car)
    ground = _ground(judged, references, car, source, also)
    return ground.case(infer_with(ground.asked, family), family)


def solve_many(prepared: Sequence[Prepared]) -> list[Case]:
    """The same for many recordings at once: each gets what it gets alone, for less."""
    posteriors = infer_many([one.problem for one in prepared])
    return [one.case(found) for one, found in zip(prepared, posteriors, strict=True)]


def prepare(
    judged: Sequence[Stretch],
    references: Sequence[Sequence[Stretch]],
    car: Car,
    source: str = "recording",
    *,
    also: Sequence[Sequence[Stretch]] = (),
) -> Prepared:
    """Everything that `solve` needs beside the inference itself."""
    ground = _ground(judged, references, car, source, also)
    problem = problem_of(ground.asked)

    def case(posterior: Posterior) -> Case:
        return ground.case(Inferred(problem.model, problem.covariances, posterior), None)

    return Prepared(problem, case)


@dataclass(frozen=True)
class _Ground:
    """What a case rests on before anything is inferred."""

    asked: Asked
    hypotheses: Hypotheses
    scale: Scale
    plate: PlatePosition
    key_on: KeyOn
    load: LoadReading
    beside: IdleBeside
    level: LoadLevel
    idle: Callable[[Habit | None], tuple[IdleSpeed] | tuple[IdleSpeed, IdleAir]]

    def case(self, found: Inferred, family: Family | None) -> Case:
        usual = self.idle(None if family is None else family.habit)
        return Case(
            observations=self.asked.observations,
            model=found.model,
            hypotheses=self.hypotheses,
            covariances=found.covariances,
            scale=self.scale,
            posterior=found.posterior,
            priors=self.asked.priors,
            car=self.asked.car,
            idle=usual[0],
            plate=self.plate,
            key_on=self.key_on,
            load=self.load,
            # Beside a family the air is held against that of its cars.
            beside=self.beside if family is None else None,
            level=self.level,
            air=usual[1] if len(usual) > 1 else None,
            family=OfFamily.told(family, found.belongs),
        )


def _ground(
    judged: Sequence[Stretch],
    references: Sequence[Sequence[Stretch]],
    car: Car,
    source: str,
    also: Sequence[Sequence[Stretch]],
) -> _Ground:
    usable(judged, source)
    priors = load_priors().of(car)
    # A reference without a running engine would only look like knowledge of the car.
    good, more = ([one for one in group if judgeable(one)] for group in (references, also))
    observations = observe(judged, good, car, more)
    refuse_foreign(observations, judged, source)
    unknown_pa = priors.weather["barometric_kpa"][0] * 1e3
    flow, pressure = nominal.flow_and_pressure(observations, priors, unknown_pa)
    scale = nominal.scale_of(observations, flow, pressure, priors, unknown_pa)
    hypotheses = enumerate_hypotheses(priors, scale, observations)
    plate = plate_position(observations, priors, hypotheses, scale)
    off = key_on(observations, priors, hypotheses)
    load = load_reading(observations, priors, hypotheses)
    beside = idle_beside(observations, car, priors, hypotheses, scale)
    level = load_level(observations, priors, hypotheses)
    # Asked for once by the inference and once by the case.
    idle = cache(partial(idle_sides, observations, car, priors, hypotheses, scale))

    def sides(habit: Habit | None) -> list[SideLog]:
        found: list[SideLog] = [*idle(habit), plate, off, load, level]
        return [*found, beside] if habit is None else found

    asked = Asked(
        observations, car, priors, unknown_pa, hypotheses, flow, pressure,
        sides,
    )  # fmt: skip
    return _Ground(asked, hypotheses, scale, plate, off, load, beside, level, idle)


def _from_the_car(case: Case) -> tuple[CheckResult, ...]:
    """What the car file holds that a check would have read: the throttle reading at its stop."""
    o, closed = case.observations, case.car.closed_throttle_position_pct
    readings = o.throttle_pct[o.judged & np.isfinite(o.throttle_pct)]
    if closed is None or not o.throttle_absolute or not len(readings):
        return ()
    return (CheckResult("closed_reading", "value", float(readings.min()) - closed.value),)


def weights_of(
    prior: Mapping[str, float] | str | Path | None,
    complaint: Complaint,
    family: Family | None = None,
) -> dict[str, float]:
    """Weights of the causes: the user's own, or those that the complaint stands for, moved by what
    the family is prone to."""
    if prior is None:
        weights = cause_weights(complaint)
        return weights if family is None else family.weights(weights)
    if isinstance(prior, Mapping):
        return weights_from(prior, "prior")
    return read_weights(prior)


def hypothesis_weights(weights: Mapping[str, float], hypotheses: Hypotheses) -> dict[str, float]:
    """Weight of every hypothesis and of ``unexplained``; pairs share theirs by their members."""
    result = {name: weights.get(name, 0.0) for name in hypotheses.names if "+" not in name}
    pairs = [causes for causes in hypotheses.causes if len(causes) == 2]
    product = np.array([weights.get(a, 0.0) * weights.get(b, 0.0) for a, b in pairs])
    total = product.sum()
    for (a, b), share in zip(pairs, product / total if total > 0 else product, strict=True):
        name = f"{a}+{b}"
        result[name] = weights.get(name, 0.0) + weights.get("pairs", 0.0) * float(share)
    result["unexplained"] = weights.get("unexplained", 0.0)
    whole = sum(result.values())
    if not whole > 0:
        raise FindingError(
            "prior: none of the causes with a weight can be asked of this car and recording. "
            "Give a weight to healthy or to another cause."
        )
    return {name: weight / whole for name, weight in result.items()}


def _report(
    case: Case,
    weights: Mapping[str, float],
    complaint: Complaint,
    results: Sequence[CheckResult],
    judged: Sequence[tuple[Recording, Sequence[Stretch]]],
) -> Finding:
    prior = hypothesis_weights(weights, case.hypotheses)
    logs = np.append(case.posterior.log_evidence, case.posterior.log_unexplained)
    names = (*case.hypotheses.names, "unexplained")
    unchecked = _probability(logs, prior, names)
    logs = logs + result_log(case, results)
    probability = _probability(logs, prior, names)
    posterior = dict(zip(names, map(float, probability), strict=True))
    sizes = sizes_of(with_results(case, results))
    confusable = confusions(case, posterior, logs.tolist())
    said = remarks(case, unchecked, results)
    causes = tuple(
        CauseProbability(name, posterior[name], sizes.get(name, {}), confusable.get(name, ()))
        for name in sorted(posterior, key=lambda name: -posterior[name])
        if prior[name] > 0
    )
    return Finding(
        causes=causes,
        prior=prior,
        present=_present(posterior, case.hypotheses),
        next_checks=next_checks(case, posterior, results),
        evidence=evidence_of(case, posterior),
        excluded=_once(excluded_of(found, one) for one, found in judged),
        warnings=(
            *_counted(results),
            *(one.sentence for one in said),
            *_once(warnings_of(case, posterior, one, found) for one, found in judged),
            *elsewhere(posterior["healthy"], complaint),
        ),
        misfit=float(case.posterior.misfit[_best(case, posterior)]),
        complaint=complaint,
        picture=draw(case, posterior),
        log_evidence=dict(zip(names, map(float, logs), strict=True)),
        family=case.family,
        disagreeing={one.check: one.disagrees_with for one in said if one.disagrees_with},
    )


def _once(said: Iterable[Sequence[str]]) -> tuple[str, ...]:
    """What several recordings have to say, each sentence once."""
    return tuple(dict.fromkeys(sentence for of_one in said for sentence in of_one))


def _probability(
    logs: NDArray[np.float64], prior: Mapping[str, float], names: Sequence[str]
) -> NDArray[np.float64]:
    with np.errstate(divide="ignore"):
        joint = logs + np.log([prior[name] for name in names])
    return np.asarray(np.exp(joint - np.logaddexp.reduce(joint)))


def _counted(results: Sequence[CheckResult]) -> tuple[str, ...]:
    """Which checks the finding has in it, so that nobody has to guess."""
    if not results:
        return ()
    told = ", ".join(
        f"{one.check}: {one.outcome}".replace("_", " ")
        if one.value is None
        else f"{one.check.replace('_', ' ')}: {one.value:g}"
        for one in results
    )
    return (f"Checks counted: {told}.",)


def _best(case: Case, posterior: Mapping[str, float]) -> int:
    explained = [posterior[name] for name in case.hypotheses.names]
    return int(np.argmax(explained))


def _present(posterior: Mapping[str, float], hypotheses: Hypotheses) -> dict[str, float]:
    alone = [causes[0] for causes in hypotheses.causes if len(causes) == 1]
    return {
        cause: sum(p for name, p in posterior.items() if cause in name.split("+"))
        for cause in alone
    }
