"""Checks that a mechanic can make: what each outcome says about the causes, what a check is
expected to tell, and what it costs.

How often a check errs is common practice, no source, unless a number with an error is read.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.errors import FindingError
from bellmouth.finding.check_parts import Parts
from bellmouth.finding.check_sizes import Nodes, nodes_of, outcomes_at, predicted_number
from bellmouth.finding.check_table import CHECKS, Check, CheckResult, as_known
from bellmouth.finding.closed_reading import closed_reading
from bellmouth.finding.repeats import (
    again_at,
    log_of_all,
    log_of_numbers,
    log_of_words,
    words_again,
)
from bellmouth.finding.result import NextCheck

if TYPE_CHECKING:
    from bellmouth.finding.case import Case

__all__ = [
    "CheckResult",
    "by_check",
    "confirms",
    "next_checks",
    "outcome_table",
    "parse_results",
    "result_log",
    "settled",
    "with_results",
]

Floats = NDArray[np.float64]

_SETTING_UP_MINUTES = 20.0  # getting ready costs something for the quickest check too
_SETTLED_BITS = 0.15
_LEAST_BITS = 0.005
_KNOWN_WELL_PCT = 0.5  # a car file's closed reading known worse may be read again; our choice
_THOUSANDS = re.compile(r"(?<!\d)[1-9]\d{0,2},\d{3}(?!\d)")  # or a decimal comma: nobody can tell
_MOST_TIMES = 6  # what a seventh time would tell is below any of these figures' own doubt


def parse_results(results: Sequence["str | CheckResult"]) -> tuple[CheckResult, ...]:
    """Read ``check=outcome`` texts; a check may be given as often as it was made.

    Raises
    ------
    FindingError
        If a check or an outcome is not known, or a check is given too often.
    """
    told = [results] if isinstance(results, str) else results
    parsed = tuple(map(_checked, told))
    for name, times in by_check(parsed).items():
        if len(times) > _MOST_TIMES:
            raise FindingError(
                f'result "{name}": given {len(times)} times, at most {_MOST_TIMES} are counted. '
                "Give each time that it was made once."
            )
    return parsed


def by_check(results: Sequence[CheckResult]) -> dict[str, list[CheckResult]]:
    """The results of each check, in the order they were given."""
    found: dict[str, list[CheckResult]] = {}
    for one in results:
        found.setdefault(one.check, []).append(one)
    return found


def _checked(result: "str | CheckResult") -> CheckResult:
    if isinstance(result, str):
        return _parse(result)
    outcome = f"{result.value:g}" if result.value is not None else result.outcome
    return _parse(f"{result.check}={outcome}")


def _parse(text: str) -> CheckResult:
    name, sign, outcome = text.partition("=")
    name = _full_name(name.strip().lower().replace("-", "_").replace(" ", "_"))
    outcome = outcome.strip()
    if not sign or name not in CHECKS:
        known = ", ".join(CHECKS)
        raise FindingError(f'result "{text}": not CHECK=OUTCOME of a known check. Checks: {known}.')
    check = CHECKS[name]
    word = outcome.lower().replace(" ", "_").replace("-", "_").split(":")[0]
    word = check.synonyms.get(word, word)
    if word in check.outcomes:
        return CheckResult(name, word)
    if check.reads:
        if _THOUSANDS.search(outcome):
            raise FindingError(
                f'result "{text}": a comma before three digits may mark thousands or decimals. '
                "Write the number without it, with a point for decimals."
            )
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
    log = grid.log_likelihood
    for name, made in by_check(results).items():
        log = log + log_of_all(every, as_known(CHECKS[name], made), made)
    told = replace(case.posterior, grid=replace(grid, log_likelihood=log))
    return replace(case, posterior=told)


def _told(case: "Case", results: Sequence[CheckResult]) -> tuple[Floats, Nodes]:
    """Log likelihood of the results by hypothesis, and the sizes that they leave."""
    nodes = nodes_of(case)
    unexplained = 0.0
    log = np.zeros(len(nodes.hypothesis))
    for name, made in by_check(results).items():
        check = as_known(CHECKS[name], made)
        log = log + log_of_all(nodes, check, made)
        unexplained += _log_unexplained(nodes, check, made)
    by_hypothesis = np.log(np.maximum(nodes.marginal(np.exp(log)), 1e-300))
    return np.append(by_hypothesis, unexplained), nodes.after(log)


def _log_unexplained(nodes: Nodes, check: Check, made: Sequence[CheckResult]) -> float:
    """Where no cause fits, a check may show anything that one of them lets expect, and more."""
    values = [one.value for one in made if one.value is not None]
    if not values:
        shown = [check.outcomes.index(one.outcome) for one in made]
        row = _unexplained_row(check, outcomes_at(nodes, check))[None, :]
        return float(log_of_words(row, shown, _unexplained_common(check))[0])
    mean, sd = predicted_number(nodes, check)
    middle, wide = np.mean(mean), 3 * np.hypot(np.std(mean), np.max(sd))
    anywhere = Parts.one(np.array([middle]), np.array([wide]))
    return float(log_of_numbers(check, values, anywhere)[0])


def _unexplained_common(check: Check) -> Floats:
    return np.array([np.sqrt(check.shared)])


def _unexplained_row(check: Check, at_nodes: Floats) -> Floats:
    base = at_nodes.mean(axis=0) if check.reads else np.array(check.otherwise)
    return np.asarray(0.5 * base + 0.5 / len(base))


def outcome_table(
    case: "Case", check: Check, nodes: Nodes | None = None, made: Sequence[CheckResult] = ()
) -> Floats:
    """Probability of each outcome under each hypothesis, (hypotheses + 1, outcomes).

    The last row is ``unexplained``. ``nodes`` are the sizes that earlier results left, ``made``
    those of them that this very check showed.
    """
    found = nodes if nodes is not None else nodes_of(case)
    once = outcomes_at(found, check)
    row = _unexplained_row(check, once)[None, :]
    if not made:
        return np.vstack([found.marginal(once), row])
    table = found.marginal(again_at(found, check, made))
    shown = [check.outcomes.index(one.outcome) for one in made if one.value is None]
    return np.vstack([table, words_again(row, shown, _unexplained_common(check))])


def next_checks(
    case: "Case",
    posterior: Mapping[str, float],
    results: Sequence[CheckResult],
) -> tuple[NextCheck, ...]:
    """Checks that may still tell something, most expected information a minute first; one that was
    made already may be worth making again."""
    weight = np.array([posterior[name] for name in case.names])
    nodes = _told(case, results)[1]
    # What the car file holds is in the nodes; nobody has made the check.
    made = by_check([one for one in results if not one.from_car])
    ended = {name for one in results for name in _ended_by(one)}
    top = max(posterior, key=lambda name: posterior[name])
    found = []
    for check in CHECKS.values():
        before = made.get(check.name, [])
        if len(before) >= _MOST_TIMES or check.name in ended or not _possible(case, check):
            continue
        bits = _information_bits(weight, outcome_table(case, check, nodes, before))
        suggested = _suggested(check, bits, len(before))
        if bits > _LEAST_BITS or confirms(suggested, top):
            found.append(suggested)
    return _ranked(found, posterior)


def _ended_by(result: CheckResult) -> tuple[str, ...]:
    check = CHECKS[result.check]
    return check.ends if check.ends_when in ("", result.outcome) else ()


def _suggested(check: Check, bits: float, times: int) -> NextCheck:
    return NextCheck(
        check=check.name,
        bits=round(bits, 3),
        minutes=check.minutes,
        why=check.why,
        how=check.again if times else check.how,
        outcomes=check.outcomes + ((f"a number: {check.reads}",) if check.reads else ()),
        caution=check.caution,
        made=times,
    )


def settled(found: Sequence[NextCheck]) -> bool:
    """Whether none of the checks has much left to tell, so that those that confirm come first."""
    return all(check.bits < _SETTLED_BITS for check in found)


def confirms(check: NextCheck, top: str) -> bool:
    """Whether a check would confirm the likeliest cause, and has not been made."""
    return not check.made and bool(set(top.split("+")) & set(CHECKS[check.check].confirms))


def _ranked(found: list[NextCheck], posterior: Mapping[str, float]) -> tuple[NextCheck, ...]:
    """Most expected information a minute first; where hardly any is left to be had, the checks
    that would confirm the likeliest cause before anything is unbolted."""
    top = max(posterior, key=lambda name: posterior[name])
    confirming = settled(found)

    def order(check: NextCheck) -> tuple[bool, float]:
        return confirming and not confirms(check, top), -check.bits / (
            check.minutes + _SETTING_UP_MINUTES
        )

    return tuple(sorted(found, key=order))


#: What must have been recorded for a check to have something to read.
_READ = {
    "key_on_pressure": "manifold_pa",
    "closed_reading": "throttle_pct",
    "plate_cleaned": "throttle_pct",
}


def _possible(case: "Case", check: Check) -> bool:
    if check.needs and not set(case.hypotheses.names) & set(check.needs):
        return False
    o = case.observations
    metering = "airflow" if o.airflow_metered else "pressure"
    if (check.metering and check.metering != metering) or _known_already(case, check):
        return False
    if check.name in _READ:
        return bool(np.isfinite(getattr(o, _READ[check.name])).any())
    if check.name == "loads_off":
        # Where they are taken as off it is as good as made.
        return case.idle.held is not None and not case.idle.held.judged.loads_off
    if check.name == "hold_2500":
        trims = np.isfinite(o.log_trim).any()
        return bool(trims and not (o.speed_rev_s[o.judged] > 33.0).any())
    return True


def _known_already(case: "Case", check: Check) -> bool:
    """Whether the recording or the car file holds what a check would read."""
    if check.name == "key_on_pressure":
        return bool(np.isfinite(case.key_on.log_ratio))
    known = any(one.sd <= _KNOWN_WELL_PCT for one in closed_reading(case))
    return check.name == "closed_reading" and known


def _information_bits(weight: Floats, table: Floats) -> float:
    """Mutual information of hypothesis and outcome: entropy of the outcome less what is left."""
    outcome = weight @ table
    left = -(weight[:, None] * table * np.log2(np.maximum(table, 1e-12))).sum()
    whole = -(outcome * np.log2(np.maximum(outcome, 1e-12))).sum()
    return float(max(whole - left, 0.0))
