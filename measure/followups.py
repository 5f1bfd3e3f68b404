"""After one, two, three checks: the tool's own first suggestion is followed each time, and its
outcome drawn from the truth with the error rates of ``check_rates.toml``.

What a check shows on a car is drawn from the car and the check alone, whenever it is made. Made
again, ``shared`` of its error comes again: a word with that probability as a whole, a number as
that part of the error's variance.
"""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.errors import BellmouthError
from bellmouth.finding.case import Case, solve
from bellmouth.finding.checks import CheckResult, next_checks, result_log
from bellmouth.finding.priors import cause_weights
from measure.cases import Sample
from measure.judge import log_prior, posterior

__all__ = ["Followed", "follow", "outcome", "rates"]

Floats = NDArray[np.float64]

_STEPS = 3


@dataclass(frozen=True)
class Followed:
    """Causes' probabilities before any check and after each, and which checks were made."""

    sample: Sample
    names: tuple[str, ...]
    probability: Floats
    made: tuple[str, ...]


@cache
def rates() -> Mapping[str, Mapping[str, Any]]:
    """The stated error rates by check."""
    text = Path(__file__).with_name("check_rates.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def outcome(check: str, sample: Sample, again: int = 0) -> CheckResult | None:
    """What a check shows on this car, made the first or the ``again``-th time more; ``None`` where
    it could not be made."""
    table = rates()[check]
    first, time = _draws(check, sample, 0), _draws(check, sample, again + 1)
    if "fact" in table:
        common, own = table["shared"] ** 0.5, (1.0 - table["shared"]) ** 0.5
        shared = first.normal()
        # How it went is drawn before the error, so that it can be drawn again as the first time.
        as_before = again > 0 and "fails" in table and first.random() < table["shared"]
        chance = _draws(check, sample, 1) if as_before else time
        fact = _went(table, sample.facts[table["fact"]], chance)
        value = fact + table["error"] * (common * shared + own * time.normal())
        return CheckResult(check, "value", float(value)) if np.isfinite(value) else None
    chances = np.array(table["otherwise"])
    for cause in sample.cause.split("+"):
        if cause in table.get("given", {}):
            chances = _given(table, sample, cause, chances)
    as_before = again > 0 and first.random() < table["shared"]
    return CheckResult(
        check, _word(table, chances, _draws(check, sample, 1) if as_before else time)
    )


def _went(table: Mapping[str, Any], fact: float, chance: np.random.Generator) -> float:
    """What there is to read once something was put right, or was not, or something else changed."""
    if "fails" not in table:
        return fact
    way = chance.random()
    if way < table["fails"]:
        return 0.0
    other = way > 1.0 - table["other"]
    return fact + (table["other_sd"] * float(chance.normal()) if other else 0.0)


def _draws(check: str, sample: Sample, which: int) -> np.random.Generator:
    """Chance of one car and check: 0 what all times have in common, 1 the first, and so on."""
    mark = [sample.number, 41, ord(sample.variant), list(rates()).index(check), which]
    return np.random.default_rng(mark)


def _word(table: Mapping[str, Any], chances: Floats, rng: np.random.Generator) -> str:
    word: str = table["outcomes"][int(rng.choice(len(chances), p=chances / chances.sum()))]
    return word


def _given(table: Mapping[str, Any], sample: Sample, cause: str, otherwise: Floats) -> Floats:
    hit = np.array(table["given"][cause])
    if "seen_mm" not in table:
        return hit
    size, chance = np.array(table["seen_mm"]).T
    seen = np.interp(sample.sizes[cause], size, chance) / chance[-1]
    return np.asarray(seen * hit + (1.0 - seen) * otherwise)


def follow(sample: Sample) -> Followed | None:
    """Judge a case and follow the first suggestion three times; ``None`` where it is refused."""
    try:
        case = solve(sample.judged, sample.references, sample.car, f"case {sample.number}")
    except BellmouthError:
        return None
    log_weight, logs = log_prior(case, cause_weights("unknown")), case.log_evidence
    results: list[CheckResult] = []
    not_possible: set[str] = set()
    history = [posterior(logs, log_weight)]
    for _ in range(_STEPS):
        made = _next(case, history[-1], results, not_possible, sample)
        if made is not None:
            results.append(made)
        history.append(posterior(logs + result_log(case, results), log_weight))
    return Followed(sample, case.names, np.stack(history), tuple(one.check for one in results))


def _next(
    case: Case,
    probability: Floats,
    results: Sequence[CheckResult],
    not_possible: set[str],
    sample: Sample,
) -> CheckResult | None:
    """The first suggestion that can be made on this car, and what it showed."""
    table = dict(zip(case.names, map(float, probability), strict=True))
    for suggested in next_checks(case, table, results):
        if suggested.check in not_possible:
            continue
        shown = outcome(suggested.check, sample, suggested.made)
        if shown is not None:
            return shown
        not_possible.add(suggested.check)
    return None
