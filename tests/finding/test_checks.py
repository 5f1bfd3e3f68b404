"""Checks: what they accept, what their outcomes do to a finding, and how they are ranked."""

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import entropy

from bellmouth.errors import FindingError
from bellmouth.finding.case import Case, solve
from bellmouth.finding.check_table import CHECKS, Check
from bellmouth.finding.checks import (
    CheckResult,
    next_checks,
    outcome_table,
    parse_results,
    result_log,
    settled,
)
from bellmouth.finding.priors import cause_weights
from bellmouth.finding.weights import hypothesis_weights
from tests.finding.garage import car, stretches


@pytest.fixture(scope="module")
def case() -> Case:
    return solve(stretches(meter=0.8), [], car())


def posterior_of(
    case: Case, results: Sequence[str] = ()
) -> tuple[dict[str, float], dict[str, float]]:
    prior = hypothesis_weights(cause_weights("unknown"), case.hypotheses)
    names = (*case.hypotheses.names, "unexplained")
    logs = np.append(case.posterior.log_evidence, case.posterior.log_unexplained)
    joint = logs + result_log(case, parse_results(results)) + np.log([prior[n] for n in names])
    return prior, dict(zip(names, np.exp(joint - np.logaddexp.reduce(joint)), strict=True))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("smoke_test=none", CheckResult("smoke_test", "none")),
        ("Smoke test = seen: brake servo hose", CheckResult("smoke_test", "seen")),
        ("fuel_delivery=0.83", CheckResult("fuel_delivery", "value", 0.83)),
        ("fuel_delivery=0,83", CheckResult("fuel_delivery", "value", 0.83)),
        ("hold-2500=3.1%", CheckResult("hold_2500", "value", 3.1)),
        ("meter_swap=better", CheckResult("meter_swap", "improved")),
    ],
)
def test_results_are_read_as_people_write_them(text: str, expected: CheckResult) -> None:
    assert parse_results([text]) == (expected,)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("smoke_test", "not CHECK=OUTCOME of a known check"),
        ("smokes=none", "Checks: smoke_test, fuel_delivery"),
        ("smoke_test=maybe", "use one of none, seen"),
        ("smoke_test=", "use one of none, seen"),
        ("fuel_delivery= ", "use low, normal, high"),
        ("fuel_delivery=99", "or a number (delivered over specified) from 0.2 to 3"),
        ("fuel_delivery=nan", "use low, normal, high"),
        ("relearn=1,200", "a comma before three digits may mark thousands"),
        ("relearn=-1,200", "a comma before three digits may mark thousands"),
        ("hold_2500=1234,567", "from -60 to 80"),
    ],
)
def test_a_result_that_means_nothing_says_what_would(text: str, words: str) -> None:
    with pytest.raises(FindingError, match="result") as caught:
        parse_results([text])
    assert words in str(caught.value)


def test_a_comma_after_four_digits_marks_decimals() -> None:
    assert parse_results(["relearn=-0,250", "loads_off=1234,567"]) == (
        CheckResult("relearn", "value", -0.25),
        CheckResult("loads_off", "value", 1234.567),
    )


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        parse_results([text])
    except FindingError:
        return


def test_outcomes_are_probabilities(case: Case) -> None:
    for check in CHECKS.values():
        table = outcome_table(case, check)
        assert table.shape == (case.hypotheses.count + 1, len(check.outcomes))
        assert table.min() > 0
        assert table.sum(axis=1) == pytest.approx(1.0, abs=1e-6)


def test_a_fuel_reading_tells_meter_from_fuel(case: Case) -> None:
    """Normal delivery moves the weight to the meter, short delivery to the fuel."""
    _, before = posterior_of(case)
    _, normal = posterior_of(case, ["fuel_delivery=1.0"])
    _, short = posterior_of(case, ["fuel_delivery=0.8"])
    assert normal["meter_low"] > before["meter_low"]
    assert normal["meter_low"] > 20 * normal["fuel_low"]
    assert short["fuel_low"] > 5 * short["meter_low"]


def test_next_checks_are_ranked_by_information_a_minute(case: Case) -> None:
    _, posterior = posterior_of(case)
    ranked = next_checks(case, posterior, ())
    worth = [check.bits / (check.minutes + 20.0) for check in ranked]
    assert worth == sorted(worth, reverse=True)
    assert ranked[0].check in ("fuel_delivery", "meter_swap")
    assert all(check.made == 0 for check in ranked)
    assert "computed_air" not in {check.check for check in ranked}  # this car has a meter


def test_bits_are_the_mutual_information_that_scipy_computes(case: Case) -> None:
    """scipy.stats.entropy as the outside road: H(outcome) - sum p H(outcome | cause)."""
    _, posterior = posterior_of(case)
    weight = np.array(list(posterior.values()))
    for told in next_checks(case, posterior, ()):
        table = outcome_table(case, CHECKS[told.check])
        bits = entropy(weight @ table, base=2) - weight @ entropy(table, base=2, axis=1)
        assert told.bits == pytest.approx(bits, abs=1e-3)


def test_every_check_says_how_and_dangerous_ones_warn() -> None:
    for check in CHECKS.values():
        assert check.how
        assert check.why
        assert check.minutes > 0
    for name in ("smoke_test", "fuel_delivery", "hose_pinched", "hold_2500", "closed_reading"):
        assert CHECKS[name].caution


@pytest.mark.parametrize("check", CHECKS.values(), ids=lambda one: one.name)
def test_every_check_is_made_with_a_caution_that_names_what_can_hurt(check: Check) -> None:
    dangers = {
        "key on": ("do not start", "fan"),
        "hold 2,500 rpm": ("running engine", "brake", "open air", "fan", "hot"),
        "warm idle, loads off:": ("running engine", "brake", "open air", "fan", "hot"),
        "warm idle: pinch": ("running engine", "fan", "hot", "open air"),
        "idle learning": ("brake", "open air", "fan"),
        "pressure sensor": ("key off", "running engine", "brake", "open air", "fan", "hot"),
        "clean plate": ("key out", "flammable", "eye", "open air", "fan", "hot"),
        "same idle": ("engine runs", "fan", "hot"),
        "fuel pressure": ("no ignition source", "eye"),
        "edge of the plate": ("key out",),
        "at its stop": ("snap shut",),
        "smoke at": ("no ignition source",),
    }
    named = [words for work, words in dangers.items() if work in check.how.lower()]
    assert named, f"{check.name}: say here what can hurt"
    for word in (word for words in named for word in words):
        assert word in check.caution.lower()


def test_where_hardly_anything_is_left_to_tell_that_is_said(case: Case) -> None:
    _, posterior = posterior_of(case)
    assert not settled(next_checks(case, posterior, ()))
    sure = {name: (0.9999 if name == "meter_low" else 1e-6) for name in posterior}
    ranked = next_checks(case, sure, ())
    assert ranked[0].check == "meter_swap", "what would confirm it stands first"
    assert settled(ranked)


def test_minutes_hold_the_waits_that_the_check_names() -> None:
    """The meter alone dries for ten, and is taken out, put back and compared besides."""
    assert CHECKS["meter_swap"].minutes > 20
    quick = ("key_on_pressure", "hold_2500", "loads_off", "hose_pinched", "closed_reading")
    assert all(CHECKS[name].minutes <= 5 for name in quick)
    assert max(CHECKS.values(), key=lambda one: one.minutes).name == "plate_cleaned"


def test_cautions_name_what_a_running_engine_and_a_plate_can_do() -> None:
    for check in CHECKS.values():
        if "running" in check.caution.lower() or "engine runs" in check.caution:
            assert "brake on" in check.caution, check.name
        if "bore" in check.how and "plate can" in check.caution:
            assert "Key out" in check.caution, check.name
    assert "no fingers in the bore" in CHECKS["bore_look"].caution


def test_a_decimal_comma_that_can_be_nothing_else_is_read() -> None:
    texts = ("fuel_delivery=0,925", "fuel_delivery=0.925", "fuel_delivery=1,02")
    assert [one.value for one in parse_results(texts)] == [0.925, 0.925, 1.02]
