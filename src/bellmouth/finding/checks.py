"""Checks that a mechanic can make: what each outcome says about the causes, what a check is
expected to tell, and what it costs.

How often a check errs is common practice, no source, unless a number with an error is read.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.errors import FindingError
from bellmouth.finding.check_sizes import (
    Nodes,
    log_of_number,
    nodes_of,
    outcomes_at,
    predicted_number,
)
from bellmouth.finding.check_table import CHECKS, Check
from bellmouth.finding.result import NextCheck

if TYPE_CHECKING:
    from bellmouth.finding.find import Case

__all__ = [
    "CheckResult",
    "next_checks",
    "outcome_table",
    "parse_results",
    "result_log",
    "with_results",
]

Floats = NDArray[np.float64]

_SETTING_UP_MINUTES = 20.0  # getting ready costs something for the quickest check too
_SETTLED_BITS = 0.15
_LEAST_BITS = 0.005


@dataclass(frozen=True)
class CheckResult:
    """What a check showed: one of its outcomes, or a number where it takes one."""

    check: str
    outcome: str
    value: float | None = None


def parse_results(results: Sequence["str | CheckResult"]) -> tuple[CheckResult, ...]:
    """Read ``check=outcome`` texts.

    Raises
    ------
    FindingError
        If a check or an outcome is not known.
    """
    told = [results] if isinstance(results, str) else results
    parsed: dict[str, CheckResult] = {}
    for one in map(_checked, told):
        if parsed.setdefault(one.check, one) != one:
            raise FindingError(
                f'result "{one.check}": given twice with different outcomes. Give the one that '
                "stands."
            )
    return tuple(parsed.values())


def _checked(result: "str | CheckResult") -> CheckResult:
    if isinstance(result, str):
        return _parse(result)
    outcome = f"{result.value:g}" if result.value is not None else result.outcome
    return _parse(f"{result.check}={outcome}")


def _parse(text: str) -> CheckResult:
    name, sign, outcome = text.partition("=")
    name = _full_name(name.strip().lower().replace("-", "_").replace(" ", "_"))
    outcome = outcome.strip()
    if not sign or not outcome or name not in CHECKS:
        known = ", ".join(CHECKS)
        raise FindingError(f'result "{text}": not CHECK=OUTCOME of a known check. Checks: {known}.')
    check = CHECKS[name]
    word = outcome.lower().replace(" ", "_").replace("-", "_").split(":")[0]
    word = check.synonyms.get(word, word)
    if word in check.outcomes:
        return CheckResult(name, word)
    if check.reads:
        number = _number(outcome)
        if number is not None and check.low <= number <= check.high:
            return CheckResult(name, "value", number)
        raise FindingError(
            f'result "{text}": use {", ".join(check.outcomes)} or a number ({check.reads}) from '
            f"{check.low:g} to {check.high:g}."
        )
    raise FindingError(f'result "{text}": use one of {", ".join(check.outcomes)}.')


def _full_name(begun: str) -> str:
    """The check that a name begins, where only one does: ``smoke`` is ``smoke_test``."""
    meant = [name for name in CHECKS if name.split("_")[0] == begun]
    return meant[0] if len(meant) == 1 else begun


def _number(text: str) -> float | None:
    try:
        value = float(text.rstrip("%").replace(",", "."))
    except ValueError:
        return None
    return value if np.isfinite(value) else None


def result_log(case: "Case", results: Sequence[CheckResult]) -> Floats:
    """Log likelihood of the results for every hypothesis, ``unexplained`` last."""
    return _told(case, results)[0]


def with_results(case: "Case", results: Sequence[CheckResult]) -> "Case":
    """The case with what the results say about the sizes in its grid; evidence is left alone."""
    if not results:
        return case
    grid = case.posterior.grid
    every = Nodes(case, grid.hypothesis, grid.sizes, np.zeros(len(grid.hypothesis)))
    log = sum((_log_at(every, one) for one in results), grid.log_likelihood)
    told = replace(case.posterior, grid=replace(grid, log_likelihood=log))
    return replace(case, posterior=told)


def _told(case: "Case", results: Sequence[CheckResult]) -> tuple[Floats, Nodes]:
    """Log likelihood of the results by hypothesis, and the sizes that they leave."""
    nodes = nodes_of(case)
    unexplained = 0.0
    log = np.zeros(len(nodes.hypothesis))
    for result in results:
        log = log + _log_at(nodes, result)
        unexplained += _log_unexplained(nodes, result)
    by_hypothesis = np.log(np.maximum(nodes.marginal(np.exp(log)), 1e-300))
    return np.append(by_hypothesis, unexplained), nodes.after(log)


def _log_at(nodes: Nodes, result: CheckResult) -> Floats:
    check = CHECKS[result.check]
    if result.value is not None:
        return log_of_number(nodes, check, result.value)
    return np.asarray(np.log(outcomes_at(nodes, check)[:, check.outcomes.index(result.outcome)]))


def _log_unexplained(nodes: Nodes, result: CheckResult) -> float:
    """Where no cause fits, a check may show anything that one of them lets expect, and more."""
    check = CHECKS[result.check]
    if result.value is None:
        row = _unexplained_row(nodes, check)
        return float(np.log(row[check.outcomes.index(result.outcome)]))
    mean, sd = predicted_number(nodes, check)
    middle, wide = float(np.mean(mean)), 3 * float(np.hypot(np.std(mean), np.max(sd)))
    z = (result.value - middle) / wide
    density = np.exp(-0.5 * z * z) / (wide * np.sqrt(2 * np.pi))
    return float(np.log(0.97 * density + 0.03 / (check.high - check.low)))


def _unexplained_row(nodes: Nodes, check: Check) -> Floats:
    base = np.array(check.otherwise)
    if check.reads:
        base = outcomes_at(nodes, check).mean(axis=0)
    return np.asarray(0.5 * base + 0.5 / len(base))


def outcome_table(case: "Case", check: Check, nodes: Nodes | None = None) -> Floats:
    """Probability of each outcome under each hypothesis, (hypotheses + 1, outcomes).

    The last row is ``unexplained``. ``nodes`` are the sizes that earlier results left.
    """
    found = nodes if nodes is not None else nodes_of(case)
    table = found.marginal(outcomes_at(found, check))
    return np.vstack([table, _unexplained_row(found, check)])


def next_checks(
    case: "Case",
    posterior: Mapping[str, float],
    results: Sequence[CheckResult],
) -> tuple[NextCheck, ...]:
    """Checks that are still open, most expected information a minute first."""
    names = (*case.hypotheses.names, "unexplained")
    weight = np.array([posterior[name] for name in names])
    done = {result.check for result in results}
    nodes = _told(case, results)[1]
    top = max(posterior, key=lambda name: posterior[name])
    found = []
    for check in CHECKS.values():
        if check.name in done or not _possible(case, check):
            continue
        bits = _information_bits(weight, outcome_table(case, check, nodes))
        if bits > _LEAST_BITS or set(top.split("+")) & set(check.confirms):
            found.append(
                NextCheck(
                    check=check.name,
                    bits=round(bits, 3),
                    minutes=check.minutes,
                    why=check.why,
                    how=check.how,
                    outcomes=check.outcomes
                    + ((f"a number: {check.reads}",) if check.reads else ()),
                    caution=check.caution,
                )
            )
    return _ranked(found, posterior)


def _ranked(found: list[NextCheck], posterior: Mapping[str, float]) -> tuple[NextCheck, ...]:
    """Most expected information a minute first; where hardly any is left to be had, the checks
    that would confirm the likeliest cause before anything is unbolted."""
    top = max(posterior, key=lambda name: posterior[name])
    settled = all(check.bits < _SETTLED_BITS for check in found)

    def order(check: NextCheck) -> tuple[bool, float]:
        confirms = bool(set(top.split("+")) & set(CHECKS[check.check].confirms))
        return settled and not confirms, -check.bits / (check.minutes + _SETTING_UP_MINUTES)

    return tuple(sorted(found, key=order))


def _possible(case: "Case", check: Check) -> bool:
    alone = set(case.hypotheses.names)
    if check.needs and not alone & set(check.needs):
        return False
    if check.name == "meter_swap" and not case.observations.airflow_metered:
        return False
    if check.name == "key_on_pressure" and np.isfinite(case.observations.key_on_log_ratio[0]):
        return False  # recorded already
    if check.name == "closed_reading":
        return bool(np.isfinite(case.observations.throttle_pct).any())
    if check.name == "hold_2500":
        o = case.observations
        trims = np.isfinite(o.log_trim).any()
        return bool(trims and not (o.speed_rev_s[o.judged] > 33.0).any())
    return True


def _information_bits(weight: Floats, table: Floats) -> float:
    """Mutual information of hypothesis and outcome: entropy of the outcome less what is left."""
    outcome = weight @ table
    left = -(weight[:, None] * table * np.log2(np.maximum(table, 1e-12))).sum()
    whole = -(outcome * np.log2(np.maximum(outcome, 1e-12))).sum()
    return float(max(whole - left, 0.0))
