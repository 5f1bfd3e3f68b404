"""Checks that a mechanic can make: what each outcome says about the causes, what a check is
expected to tell, and what it costs.

How often a check errs is common practice, no source, unless a number with an error is read.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.errors import FindingError
from bellmouth.finding.check_table import CHECKS, Check
from bellmouth.finding.made_up import made_up_pct
from bellmouth.finding.result import NextCheck
from bellmouth.finding.sizes import size_from_coordinate

if TYPE_CHECKING:
    from bellmouth.finding.find import Case

__all__ = ["CheckResult", "next_checks", "parse_results", "result_log"]

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
    total = np.zeros(case.hypotheses.count + 1)
    for result in results:
        check = CHECKS[result.check]
        if result.value is None:
            table = outcome_table(case, check)
            total += np.log(table[:, check.outcomes.index(result.outcome)])
        else:
            mean, sd = predicted_number(case, check)
            total += _log_normal(result.value, mean, sd, check.high - check.low)
    return total


def _log_normal(value: float, mean: Floats, sd: Floats, width: float) -> Floats:
    normal = np.exp(-0.5 * ((value - mean) / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
    return np.asarray(np.log(0.97 * normal + 0.03 / width))


def outcome_table(case: "Case", check: Check) -> Floats:
    """Probability of each outcome under each hypothesis, (hypotheses + 1, outcomes).

    The last row is ``unexplained``.
    """
    if check.reads:
        return _table_of_number(case, check)
    base = np.array(check.otherwise)
    table = np.tile(base, (case.hypotheses.count + 1, 1))
    for row, causes in enumerate(case.hypotheses.causes):
        hit = [check.given[cause] for cause in causes if cause in check.given]
        if hit:
            table[row] = _with_size(case, check, row, np.array(hit[0]), base)
    table[-1] = 0.5 * base + 0.5 / len(base)
    return np.asarray(table / table.sum(axis=1, keepdims=True))


def _with_size(case: "Case", check: Check, row: int, hit: Floats, base: Floats) -> Floats:
    """A smaller fault is seen less often: half as often at the check's own threshold."""
    if check.half_seen is None:
        return hit
    cause = next(c for c in case.hypotheses.causes[row] if c in check.given)
    place = case.hypotheses.causes[row].index(cause)
    coordinate = np.array([case.posterior.sizes[row, place]])
    size = float(size_from_coordinate(cause, coordinate, case.scale)[0])
    seen = size**4 / (size**4 + check.half_seen**4)
    return np.asarray(seen * hit + (1 - seen) * base)


def predicted_number(case: "Case", check: Check) -> tuple[Floats, Floats]:
    """Mean and standard deviation of the number a check would read, by hypothesis."""
    mean, sd = _PREDICTIONS[check.name](case)
    sd = np.hypot(sd, check.error)
    return np.append(mean, np.mean(mean)), np.append(sd, 3 * np.max(sd))


def _table_of_number(case: "Case", check: Check) -> Floats:
    """Outcomes of a numeric check: its words as the ranges between its edges."""
    mean, sd = predicted_number(case, check)
    edges = np.array([-np.inf, *check.edges, np.inf])
    above = _normal_cdf((edges[None, :] - mean[:, None]) / sd[:, None])
    table = np.diff(above, axis=1)
    return np.asarray(0.97 * table + 0.03 / table.shape[1])


def _normal_cdf(z: Floats) -> Floats:
    error_function = np.vectorize(math.erf, otypes=[np.float64])
    return np.asarray(0.5 * (1.0 + error_function(np.clip(z, -9, 9) / np.sqrt(2.0))))


def _log_size(case: "Case", cause: str) -> tuple[Floats, NDArray[np.bool_]]:
    """Coordinate of a cause in each hypothesis, and which hold it."""
    every = np.arange(case.hypotheses.count)
    value = case.hypotheses.coordinate(cause, every, case.posterior.sizes)
    return np.nan_to_num(value), np.isfinite(value)


def _ratio(case: "Case", low: str, high: str, spread: float) -> tuple[Floats, Floats]:
    mean = np.ones(case.hypotheses.count)
    for cause, sign in ((low, -1.0), (high, 1.0)):
        value, holds = _log_size(case, cause)
        mean = np.where(holds, np.exp(sign * value), mean)
    return mean, np.full(len(mean), spread)


def _predict_trim(case: "Case", flow_over_idle: float = 3.2) -> tuple[Floats, Floats]:
    """Total trim [%] held at 2,500 rpm, no load: a leak's share has fallen with the flow."""
    count = case.hypotheses.count
    log = np.zeros(count)
    for cause, sign in (("meter_low", 1), ("meter_high", -1), ("fuel_low", 1), ("fuel_high", -1)):
        value, holds = _log_size(case, cause)
        log += np.where(holds, sign * value, 0.0)
    area, leaks = _log_size(case, "leak")
    if case.observations.airflow_metered:
        share = np.where(leaks, np.exp(area) / case.scale.idle_area_m2, 0.0)
        log += np.log1p(np.minimum(share, 1.5) / flow_over_idle)
    bent, _ = _ratio(case, "meter_low", "meter_high", 0.0)
    return (np.exp(log) - 1) * 100, np.where(bent != 1.0, 5.0, 3.0)


def _predict_opening(case: "Case") -> tuple[Floats, Floats]:
    """Throttle reading at the lowest idle less the reading held closed [%].

    Judged alone, what deposit took is made up on top of the car's own opening; against a
    reference, the opening is known from how far the reading stands from the reference's.
    """
    u = case.model.unknowns
    coordinate = case.posterior.coordinates
    value = u.values(coordinate)
    slope = np.exp(value[:, u.index("slope")])
    area, holds = _log_size(case, "deposit")
    covariance = np.linalg.inv(case.posterior.curvature[:, : u.size, : u.size])
    row = u.row("opening")
    sd = np.sqrt(np.einsum("i,hij,j->h", row, covariance, row))
    opening = np.exp(value[:, u.index("opening")])
    fade = np.exp(value[:, u.index("fade")])
    made_up = made_up_pct(opening, np.where(holds, np.exp(area) / slope, 0.0), fade)
    if not case.model.reference_is_judged:
        o = case.observations
        judged = o.throttle_pct[o.judged & np.isfinite(o.throttle_pct)]
        rise = judged.min() - case.model.throttle_reference_pct if len(judged) else 0.0
        made_up = np.full_like(made_up, rise)
    return opening + made_up, opening * np.minimum(sd, 1.0)


_PREDICTIONS: dict[str, Callable[["Case"], tuple[Floats, Floats]]] = {
    "fuel_delivery": lambda case: _ratio(case, "fuel_low", "fuel_high", 0.0),
    "key_on_pressure": lambda case: _ratio(case, "pressure_low", "pressure_high", 0.008),
    "boost_at_idle": lambda case: _ratio(case, "boost_low", "boost_high", 0.01),
    "hold_2500": _predict_trim,
    "closed_reading": _predict_opening,
}


def next_checks(
    case: "Case",
    posterior: Mapping[str, float],
    results: Sequence[CheckResult],
) -> tuple[NextCheck, ...]:
    """Checks that are still open, most expected information a minute first."""
    names = (*case.hypotheses.names, "unexplained")
    weight = np.array([posterior[name] for name in names])
    done = {result.check for result in results}
    top = max(posterior, key=lambda name: posterior[name])
    found = []
    for check in CHECKS.values():
        if check.name in done or not _possible(case, check):
            continue
        bits = _information_bits(weight, outcome_table(case, check))
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
