"""Checks that were made after the work, in a proof."""

from functools import cache

import pytest

from bellmouth.errors import FindingError
from bellmouth.finding.check_table import CHECKS
from bellmouth.finding.proof_checks import LOOKS, looked, looks, looks_of
from bellmouth.finding.proof_result import Proof
from bellmouth.finding.prove import Pair, course_weights, prove, solve_pair
from bellmouth.finding.verdict import verdict_of
from bellmouth.finding.weights import weights_of
from tests.finding.garage import car, stretches
from tests.finding.worked import healthy, meter_reads_low


@cache
def _pair() -> Pair:
    """Of a car that meters pressure, from which a deposit went: whether a leak came is not told."""
    before = stretches(deposit_mm2=6.0, metering="pressure", leak_mm=0.6)
    after = stretches(metering="pressure", leak_mm=0.6, idle_up_rpm=12.0)
    return solve_pair(before, after, [], car("pressure"))


def proof(*results: str) -> Proof:
    pair = looked(_pair(), looks(results, "pressure"))
    return verdict_of(pair, course_weights(pair, weights_of(None, "unknown")), healthy())


def leak(found: Proof) -> float:
    return found.new_leak.probability


def test_smoke_that_is_seen_makes_a_new_leak_likelier_and_none_less_likely() -> None:
    seen, unasked, none = (
        leak(proof(*told)) for told in (["smoke_test=seen"], [], ["smoke_test=none"])
    )
    assert none < unasked < seen


def test_a_look_moves_odds_by_no_more_than_its_own_table() -> None:
    """Whatever its size, a leak is seen no more often than the table says, and smoke is seen
    without one as often as it says."""
    chances = CHECKS["smoke_test"]
    at = chances.outcomes.index("seen")
    most = chances.given["leak"][at] / chances.otherwise[at]
    before, after = (p / (1.0 - p) for p in (leak(proof()), leak(proof("smoke_test=seen"))))
    assert 1.0 < after / before <= most * 1.001


def test_the_same_check_again_adds_less() -> None:
    once, twice = (leak(proof(*["smoke_test=none"] * times)) for times in (1, 2))
    assert twice < once
    assert once / twice < leak(proof()) / once


def test_what_a_look_at_the_bore_shows_is_no_leak() -> None:
    assert leak(proof("bore_look=clean")) == pytest.approx(leak(proof()), rel=0.05)


def test_a_leak_check_that_was_made_is_not_asked_for_again() -> None:
    asked = ["a leak check" in need.what for need in proof().needs]
    assert any(asked)
    assert not any("a leak check" in need.what for need in proof("smoke_test=none").needs)
    assert any("a leak check" in need.what for need in proof("bore_look=clean").needs)


def test_a_pinched_hose_is_no_leak_check() -> None:
    """A leak that is in no hose stays unseen by it."""
    found = proof("hose_pinched=no_change")
    assert any("a leak check" in need.what for need in found.needs)


def test_a_check_of_another_kind_of_car_is_refused() -> None:
    assert "computed_air" in looks_of("pressure")
    with pytest.raises(FindingError, match='result "computed_air": a proof takes smoke_test, hose'):
        looks(["computed_air=found"], "airflow")


def test_what_was_counted_is_said() -> None:
    found = prove(meter_reads_low(), healthy(), car(), results=["smoke_test=none"])
    assert "Checks counted: smoke test: none." in found.warnings


@pytest.mark.parametrize("result", ["fuel_delivery=low", "relearn=rose"])
def test_a_check_that_reads_a_number_belongs_to_a_finding(result: str) -> None:
    name = result.partition("=")[0]
    with pytest.raises(FindingError, match=f'result "{name}": a proof takes smoke_test, '):
        proof(result)


def test_an_outcome_that_a_check_has_not_is_refused() -> None:
    with pytest.raises(FindingError, match="smoke_test"):
        proof("smoke_test=perhaps")
    assert "smoke_test" in LOOKS
