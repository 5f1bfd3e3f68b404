"""From a recording and a car to a finding: the one call that does it all."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from bellmouth.car.complaint import parse_complaint
from bellmouth.car.description import Car, Complaint
from bellmouth.finding import explain
from bellmouth.finding.case import Case, solve
from bellmouth.finding.check_table import counted
from bellmouth.finding.checks import (
    CheckResult,
    next_checks,
    parse_results,
    result_log,
    with_results,
)
from bellmouth.finding.closed_reading import closed_reading, of_the_stop
from bellmouth.finding.disagree import remarks
from bellmouth.finding.family import Family, known_family
from bellmouth.finding.given import (
    refuse_no_car,
    refuse_other_kinds,
    the_recording,
    the_recordings,
    the_results,
)
from bellmouth.finding.hypothesis import Hypotheses
from bellmouth.finding.loads_told import loads_told
from bellmouth.finding.observations import judgeable
from bellmouth.finding.picture import draw
from bellmouth.finding.result import CauseProbability, Finding
from bellmouth.finding.same_car import refuse_other_cars
from bellmouth.finding.sizes import sizes_of
from bellmouth.finding.suitable import (
    refuse_dead,
    refuse_hopeless,
    refuse_the_same,
    unused_references,
)
from bellmouth.finding.weights import hypothesis_weights, probability, weights_of
from bellmouth.recording.quality import dead_sensors
from bellmouth.recording.series import Recording
from bellmouth.recording.stalled import stood_still
from bellmouth.recording.steady import stretches
from bellmouth.recording.stretch import Stretch

__all__ = ["find"]

_GOOD_INSTEAD = "As reference give a recording of its own, made when the car was good."
_ONCE_INSTEAD = "Give only one of them, and once."


def find(
    recording: Recording,
    car: Car,
    *,
    also: Sequence[Recording] | Recording = (),
    references: Sequence[Recording] | Recording = (),
    results: Sequence[str | CheckResult] | str | CheckResult = (),
    prior: Mapping[str, float] | str | Path | None = None,
    complaint: str | None = None,
    family: Family | str | Path | None = None,
    loads_off: bool | None = None,
) -> Finding:
    """What is wrong with the air path, how big, how sure, and what would settle it.

    Every cause alone and every pair is weighed against the steady stretches of the recordings: a
    car's unknowns are integrated over their priors, and how far real engines are from the formulae
    is part of the likelihood.

    Parameters
    ----------
    recording
        The recording to judge.
    car
        What the owner knows about the car. [units in its keys' names]
    also
        One or more further recordings of the car as it is now, nothing done in between: other
        speeds, another day.
    references
        One or more recordings of the same car when it was good; they share the car's unknowns.
    results
        What checks showed, one or more, as ``check=outcome`` (see `NextCheck.outcomes`).
    prior
        Weights of the causes instead of the complaint's: a mapping, or a TOML file of them. They
        are scaled to sum to 1. [-]
    complaint
        What the owner says; overrides the car's own.
    family
        What was learnt from other cars of its engine family, or the file of it; by default the
        one that the car names.
    loads_off
        Whether every load (air conditioning, blower, lights, heated windows) was off while the
        engine idled, in each recording of the car as it is; by default what each recording notes,
        as a guided capture does, which asks for that.

    Returns
    -------
    Finding
        ``causes`` with their probabilities, which sum to 1 [-]; each size with its unit (mm, mm2,
        g/s or a ratio) and its 90 % interval; ``next_checks`` by what they would tell [bit] in
        their time [min].

    Raises
    ------
    FindingError
        If the recording cannot be asked this: no running engine, never warm, an unthrottled
        engine, metering that the readings contradict or that is stuck, a recording given twice or
        of another car; or if a recording, the car, a check, a prior or a family is not one.
    CarError
        If the complaint is not known.

    References
    ----------
    The page *How a finding is made* for the inference, *Equations* for each formula and its source;
    ``finding/priors.toml`` holds every prior and where it comes from.
    """
    recording = the_recording(recording, "recording")
    also = the_recordings(also, "also")
    references = the_recordings(references, "references")
    results = the_results(results)
    refuse_no_car(car)
    refuse_other_kinds(prior, complaint, family)
    said: Complaint = parse_complaint(complaint) if complaint else (car.complaint or "unknown")
    refuse_hopeless(recording)
    refuse_dead(recording, car)
    for reference in references:
        refuse_the_same((recording, reference), _GOOD_INSTEAD)
    refuse_the_same((recording, *also, *references), _ONCE_INSTEAD)
    refuse_other_cars((recording, *also, *references))
    now = [
        one if loads_off is None else replace(one, loads_off=loads_off)
        for one in (recording, *also)
    ]
    judged = [(one, stretches(one)) for one in now]
    others = [(one, stretches(one)) for one in references]
    known = known_family(family, car)
    more, good = ([found for _, found in group] for group in (judged[1:], others))
    case = solve(judged[0][1], good, car, recording.source, also=more, family=known)
    weights = weights_of(prior, said, known)
    told = parse_results(results)
    if "closed_reading" not in {result.check for result in told}:
        told = (*told, *closed_reading(case))
    finding = _report(case, weights, said, told, judged)
    unused = [
        f"recording {one.source}: no warm running engine in it"
        for one, found in judged[1:]
        if not judgeable(found)
    ]
    odd = (f"{one.source}: {told}" for one in references for told in dead_sensors(one))
    return replace(
        finding,
        excluded=(*finding.excluded, *unused, *unused_references(others)),
        warnings=(*finding.warnings, *odd),
    )


def _report(
    case: Case,
    weights: Mapping[str, float],
    complaint: Complaint,
    results: Sequence[CheckResult],
    judged: Sequence[tuple[Recording, Sequence[Stretch]]],
) -> Finding:
    prior = hypothesis_weights(weights, case.hypotheses)
    names, logs = case.names, case.log_evidence
    unchecked = probability(logs, prior, names)
    logs = logs + result_log(case, results)
    posterior = dict(zip(names, map(float, probability(logs, prior, names)), strict=True))
    sizes = sizes_of(with_results(case, results))
    confusable = explain.confusions(case, posterior, logs.tolist())
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
        evidence=explain.evidence_of(case, posterior),
        excluded=_once(explain.excluded_of(found, one) for one, found in judged),
        warnings=(
            *counted(results),
            *of_the_stop(case, results),
            *(one.sentence for one in said),
            *explain.low_idle(case, complaint),
            *loads_told([one for one, _ in judged]),
            *_seen([one for one, _ in judged], complaint),
            *_once(explain.warnings_of(case, posterior, one, found) for one, found in judged),
            *explain.elsewhere(posterior["healthy"], complaint),
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


def _seen(judged: Sequence[Recording], complaint: Complaint) -> Iterator[str]:
    """Stands of the engine and dead sensors; of several recordings each says which it was in."""
    for one in judged:
        for sentence in (*stood_still(one, complaint != "unknown"), *dead_sensors(one)):
            yield sentence if len(judged) == 1 else f"{one.source}: {sentence}"


def _best(case: Case, posterior: Mapping[str, float]) -> int:
    explained = [posterior[name] for name in case.hypotheses.names]
    return int(np.argmax(explained))


def _present(posterior: Mapping[str, float], hypotheses: Hypotheses) -> dict[str, float]:
    alone = [causes[0] for causes in hypotheses.causes if len(causes) == 1]
    return {
        cause: sum(p for name, p in posterior.items() if cause in name.split("+"))
        for cause in alone
    }
