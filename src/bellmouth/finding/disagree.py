"""Checks whose result was not to be expected, or that contradict themselves when made again: said,
so that somebody looks again."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.check_sizes import edges_of
from bellmouth.finding.check_table import CHECKS
from bellmouth.finding.checks import CheckResult, by_check, outcome_table
from bellmouth.finding.result import With

if TYPE_CHECKING:
    from bellmouth.finding.case import Case

__all__ = ["Remark", "expected", "remarks"]

# Seldomer than this, a result contradicts what was known before it. Our choice: one result in ten
# would do so by chance if every finding were right, and looking again costs minutes.
_SELDOM = 0.1


@dataclass(frozen=True)
class Remark:
    """What is to be said of a check's results, and what they disagree with, if anything."""

    check: str
    sentence: str
    disagrees_with: With | None


def expected(case: "Case", probability: NDArray[np.float64], result: CheckResult) -> float:
    """Probability of a check's outcome before it was made, the causes being this probable.

    ``probability`` is over the hypotheses, ``unexplained`` last, (hypotheses + 1).
    """
    return float(probability @ outcome_table(case, CHECKS[result.check])[:, _word(case, result)])


def remarks(
    case: "Case", probability: NDArray[np.float64], results: Sequence[CheckResult]
) -> tuple[Remark, ...]:
    """A remark on each check whose results the recording did not let expect, or that showed
    something else when it was made again, or that says nothing here.

    ``probability`` is as in :func:`expected`, by the recordings and the complaint alone.
    """
    return tuple(_remarks(case, probability, results))


def _remarks(
    case: "Case", probability: NDArray[np.float64], results: Sequence[CheckResult]
) -> Iterator[Remark]:
    for check, made in by_check(results).items():
        name, last = check.replace("_", " ").capitalize(), made[-1]
        if check == "loads_off" and case.idle.held is None:
            said = f"{name}: says nothing here, as no warm idle was recorded to compare with."
            yield Remark(check, said, None)
            continue
        if len({_word(case, one) for one in made}) > 1:
            shown = ", ".join(map(_shown, made))
            said = (
                f"{name}: made {len(made)} times, it contradicts itself ({shown}). Every time is "
                "counted, but for what its error has in common."
            )
            yield Remark(check, said, "itself")
            continue
        p, shown = expected(case, probability, last), _shown(last)
        share = f"{100 * p:.0f} %"
        if p >= _SELDOM:
            continue
        stop = case.car.closed_throttle_position_pct
        if last.from_car and stop is not None:  # nobody made the check
            said = (
                f"The car file's reading at the stop ({stop.value:.1f} %) does not fit the "
                "recording: read it again at the stop."
            )
            yield Remark(check, said, None)
        elif len(made) > 1:
            said = (
                f"{name}: {shown} was not to be expected from the recording ({share} likely), and "
                "the check showed it again: the two disagree. Record again before you trust either."
            )
            yield Remark(check, said, "recording")
        else:
            said = (
                f"{name}: {shown} was not to be expected from the recording ({share} likely): the "
                "two disagree. Make the check again, and record again, before you trust either."
            )
            yield Remark(check, said, "recording")


def _word(case: "Case", result: CheckResult) -> int:
    """Which of its check's words a result is, or stands for."""
    check = CHECKS[result.check]
    if result.value is None:
        return check.outcomes.index(result.outcome)
    return int(np.digitize(result.value, edges_of(case, check)))


def _shown(result: CheckResult) -> str:
    shown = result.outcome if result.value is None else f"{result.value:g}"
    return shown.replace("_", " ")
