"""A measured time against its window: met, missed, or cannot tell."""

import math

from bellmouth.learning.evidence import Moment, between
from bellmouth.learning.judgement import CANNOT_TELL, MET, MISSED, Measured, StepJudgement
from bellmouth.learning.procedure import Window

__all__ = ["compare"]


def compare(window: Window, first: Moment, then: Moment) -> StepJudgement:
    """The time between two moments against a window; met only if all that the sampling allows is
    inside, missed only if none of it is. The step's name is left empty.
    """
    value, low, high = between(first, then)
    if low >= window.least_s and high <= window.most_s:
        judgement = MET
    elif high < window.least_s or low > window.most_s:
        judgement = MISSED
    else:
        judgement = CANNOT_TELL
    margin = window.margin_s(value) if math.isfinite(value) else None
    if margin is not None and not math.isfinite(margin):
        margin = None
    return StepJudgement(
        "",
        judgement,
        Measured(value, low, high),
        (window.least_s, window.most_s),
        margin,
    )
