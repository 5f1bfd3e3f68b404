"""What a check made after the work says of a proof: a leak check most of all, as a small new leak
hides in the idle of a car that meters pressure."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.errors import FindingError
from bellmouth.finding.check_sizes import words_given
from bellmouth.finding.check_table import CHECKS, Check, CheckResult
from bellmouth.finding.checks import by_check, parse_results
from bellmouth.finding.courses import AFTER
from bellmouth.finding.density import log_sums
from bellmouth.finding.repeats import log_of_words

if TYPE_CHECKING:
    from bellmouth.finding.prove import Pair

__all__ = ["LOOKS", "looked", "looks", "looks_of"]

Floats = NDArray[np.float64]

#: Checks that look for a cause rather than read a number: those that a proof takes.
LOOKS = tuple(name for name, check in CHECKS.items() if not check.reads)


def looks_of(metering: str) -> tuple[str, ...]:
    """Those that can be made on a car that meters its air so."""
    return tuple(name for name in LOOKS if CHECKS[name].metering in ("", metering))


def looks(results: Sequence[str | CheckResult], metering: str) -> tuple[CheckResult, ...]:
    """Read ``check=outcome`` texts, of checks that were made after the work.

    Raises
    ------
    FindingError
        If a check or an outcome is not known, the check is of another car, or it reads a number:
        what that says of the car after the work a recording says better.
    """
    told, can = parse_results(results), looks_of(metering)
    for one in told:
        if one.check not in can:
            raise FindingError(
                f'result "{one.check}": a proof takes {", ".join(can)}, made after the work. '
                "For any other, record again after the work, or ask find."
            )
    return told


def looked(pair: "Pair", results: Sequence[CheckResult]) -> "Pair":
    """The pair with what checks made after the work showed: courses and sizes weighed anew."""
    if not results:
        return pair
    posterior, grid = pair.posterior, pair.posterior.grid
    log, unexplained = np.zeros(len(grid.hypothesis)), posterior.log_unexplained
    for name, made in by_check(results).items():
        check = CHECKS[name]
        shown = [check.outcomes.index(one.outcome) for one in made]
        words, common = _words(pair, check), np.sqrt(check.shared)
        log = log + log_of_words(words, shown, np.full(len(words), common))
        # Where no cause fits, a look may show anything.
        base = 0.5 * np.array([check.otherwise]) + 0.5 / len(check.otherwise)
        unexplained += float(log_of_words(base, shown, np.array([common]))[0])
    share = grid.log_weight + grid.log_likelihood
    count = len(posterior.log_evidence)
    gained = log_sums(grid.hypothesis, share + log, count) - log_sums(grid.hypothesis, share, count)
    weighed = replace(
        posterior,
        grid=replace(grid, log_likelihood=grid.log_likelihood + log),
        log_evidence=posterior.log_evidence + gained,
        log_unexplained=unexplained,
    )
    return replace(pair, posterior=weighed, results=tuple(results))


def _words(pair: "Pair", check: Check) -> Floats:
    """Probability of each of a check's words after the work, at every node, (n, words)."""
    grid = pair.posterior.grid
    holding = {}
    for cause in check.given:
        coordinate = pair.courses.coordinate(cause, AFTER, grid.hypothesis, grid.sizes)
        holding[cause] = np.nan_to_num(coordinate), np.isfinite(coordinate)
    return words_given(check, len(grid.hypothesis), holding, pair.scales[AFTER])
