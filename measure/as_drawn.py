"""Probabilities of the causes with the weights that the measured cases are drawn with."""

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.case import Case
from measure.simulated import CAUSES

__all__ = ["NAMES", "probability_of"]

NAMES = tuple(dict.fromkeys(CAUSES))
_LOG_WEIGHTS = np.log([CAUSES.count(name) / len(CAUSES) for name in NAMES])


def probability_of(case: Case) -> NDArray[np.float64]:
    """Probability of each of `NAMES`, (causes,); they sum to 1, whatever pairs are likely too."""
    evidence = dict(zip(case.hypotheses.names, case.posterior.log_evidence, strict=True))
    log = np.array([evidence[name] for name in NAMES]) + _LOG_WEIGHTS
    return np.asarray(np.exp(log - np.logaddexp.reduce(log)))
