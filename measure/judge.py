"""The finding on one simulated case, kept in the form that the scores need."""

import time
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.errors import BellmouthError
from bellmouth.finding.case import Case, solve
from bellmouth.finding.explain import confusions
from bellmouth.finding.priors import cause_weights
from bellmouth.finding.result import Size
from bellmouth.finding.sizes import sizes_of
from bellmouth.finding.weights import hypothesis_weights
from measure.bounds import bounds
from measure.cases import Sample

__all__ = ["Judgement", "judge", "log_prior", "posterior"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Judgement:
    """What the finding says of a case.

    ``names`` are the hypotheses, ``unexplained`` last; ``log_evidence`` has their shape. Sizes
    are told under the hypothesis that holds the truth, ``under_truth``, and under the top cause.
    ``bound`` is the Cramér-Rao bound on the true cause's sizes, see `measure.bounds`.
    """

    sample: Sample
    names: tuple[str, ...]
    log_evidence: Floats
    default: Floats
    under_truth: Mapping[str, Size]
    top: str
    confusable: tuple[str, ...]
    bound: Mapping[str, tuple[float, ...]]
    misfit: float
    seconds: float
    refused: str = ""


def judge(sample: Sample) -> Judgement:
    """Infer one case; a refusal counts as nothing found."""
    start = time.perf_counter()
    try:
        case = solve(sample.judged, sample.references, sample.car, f"case {sample.number}")
    except BellmouthError as error:
        return _refused(sample, str(error))
    seconds = time.perf_counter() - start
    names, logs = case.names, case.log_evidence
    default = posterior(logs, log_prior(case, cause_weights("unknown")))
    top = names[int(np.argmax(default))]
    as_table = dict(zip(names, map(float, default), strict=True))
    return Judgement(
        sample=sample,
        names=names,
        log_evidence=logs,
        default=default,
        under_truth=sizes_of(case, [sample.cause]).get(sample.cause, {}),
        top=top,
        confusable=confusions(case, as_table).get(top, ()),
        bound=bounds(case, sample.cause),
        misfit=float(case.posterior.misfit[int(np.argmax(default[:-1]))]),
        seconds=seconds,
    )


def log_prior(case: Case, weights: Mapping[str, float]) -> Floats:
    """Log weight of every hypothesis, ``unexplained`` last."""
    table = hypothesis_weights(weights, case.hypotheses)
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(np.array([table[name] for name in case.names])))


def posterior(log_evidence: Floats, log_weight: Floats) -> Floats:
    """Probabilities from log evidence and log weights."""
    joint = log_evidence + log_weight
    return np.asarray(np.exp(joint - np.logaddexp.reduce(joint)))


def _refused(sample: Sample, why: str) -> Judgement:
    """A case without a finding: healthy and every single cause at their weights before it."""
    weights = {k: v for k, v in cause_weights("unknown").items() if k != "pairs"}
    total = sum(weights.values())
    names = (*(k for k in weights if k != "unexplained"), "unexplained")
    default = np.array([weights[name] for name in names]) / total
    return Judgement(
        sample, names, np.zeros(len(names)), default, {}, names[int(np.argmax(default))],
        (), {}, float("nan"), 0.0, why,
    )  # fmt: skip
