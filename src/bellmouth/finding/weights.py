"""Weights of the causes before a recording is looked at: whose they are, what each hypothesis gets
of them, and what becomes of them."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Complaint
from bellmouth.errors import FindingError
from bellmouth.finding.family import Family
from bellmouth.finding.hypothesis import Hypotheses
from bellmouth.finding.priors import cause_weights, read_weights, weights_from

__all__ = ["hypothesis_weights", "probability", "weights_of"]

Floats = NDArray[np.float64]


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


def probability(log_evidence: Floats, weights: Mapping[str, float], names: Sequence[str]) -> Floats:
    """Probability of each of ``names``, (names,), from its log evidence (names,) [nat] and weight;
    sums to 1."""
    with np.errstate(divide="ignore"):
        joint = log_evidence + np.log([weights[name] for name in names])
    return np.asarray(np.exp(joint - np.logaddexp.reduce(joint)))
