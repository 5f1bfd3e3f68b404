"""Checks whose result was not to be expected: said, so that one of the two is looked at again."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.check_table import CHECKS
from bellmouth.finding.checks import CheckResult, outcome_table

if TYPE_CHECKING:
    from bellmouth.finding.find import Case

__all__ = ["disagreements", "expected"]

# Seldomer than this, a result contradicts what was known before it. Our choice: one result in ten
# would do so by chance if every finding were right, and looking again costs minutes.
_SELDOM = 0.1


def expected(case: "Case", probability: NDArray[np.float64], result: CheckResult) -> float:
    """Probability of a check's outcome before it was made, the causes being this probable.

    ``probability`` is over the hypotheses, ``unexplained`` last, (hypotheses + 1).
    """
    check = CHECKS[result.check]
    if result.value is None:
        index = check.outcomes.index(result.outcome)
    else:
        index = int(np.digitize(result.value, check.edges))
    return float(probability @ outcome_table(case, check)[:, index])


def disagreements(
    case: "Case", probability: NDArray[np.float64], results: Sequence[CheckResult]
) -> tuple[str, ...]:
    """A sentence for each result that the recording did not let expect.

    ``probability`` is as in :func:`expected`, by the recordings and the complaint alone.
    """
    said = []
    for result in results:
        p = expected(case, probability, result)
        if p < _SELDOM:
            shown = result.outcome if result.value is None else f"{result.value:g}"
            said.append(
                f"{result.check.replace('_', ' ').capitalize()}: {shown.replace('_', ' ')} was not "
                f"to be expected from the recording ({p:.0%} likely): the two disagree. Make the "
                "check again, and record again, before you trust either."
            )
    return tuple(said)
