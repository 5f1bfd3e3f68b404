"""Outcomes of checks are drawn from the truth with the stated rates, for every check there is."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.car.description import Car, Known
from bellmouth.finding.check_table import CHECKS, CheckResult
from measure.cases import Sample
from measure.followups import outcome, rates

_FACTS = {
    "key_on": 1.0, "boost": 1.0, "fuel": 0.9, "trim_2500_pct": 4.0, "idle_opening_pct": 3.0,
    "choked_g_s_mm2": 0.236, "cleaned_pct": 0.0, "unloaded_rpm": 700.0, "relearned_rpm": 0.0,
    "swapped_pct": 0.0,
}  # fmt: skip
_HEALTHY = Sample(
    0, "A", "healthy", {}, "airflow", "idle", "none", Car(Known(2.0), "airflow"), (), (), _FACTS
)


def test_every_check_of_the_finding_has_rates_of_our_own() -> None:
    assert set(rates()) >= set(CHECKS)


@pytest.mark.parametrize("name", [n for n, r in rates().items() if "outcomes" in r])
def test_words_are_those_that_the_finding_takes_and_chances_sum_to_one(name: str) -> None:
    table = rates()[name]
    assert tuple(table["outcomes"]) == CHECKS[name].outcomes
    for chances in (table["otherwise"], *table.get("given", {}).values()):
        assert sum(chances) == pytest.approx(1.0)


def shown(check: str, sample: Sample, times: int, again: int = 0) -> list[CheckResult]:
    """What many cars of a kind show."""
    cars = (replace(sample, number=number) for number in range(times))
    return [one for car in cars if (one := outcome(check, car, again)) is not None]


def test_smoke_is_seen_as_often_as_stated() -> None:
    big = replace(_HEALTHY, cause="leak", sizes={"leak": 2.5})
    small = replace(_HEALTHY, cause="leak", sizes={"leak": 0.3})
    seen = [
        np.mean([one.outcome == "seen" for one in shown("smoke_test", s, 1000)])
        for s in (_HEALTHY, small, big)
    ]
    assert seen[0] == pytest.approx(0.04, abs=0.02)
    assert 0.2 < seen[1] < 0.35
    assert seen[2] == pytest.approx(0.96, abs=0.02)


def test_a_number_is_the_truth_with_the_stated_error() -> None:
    drawn = [one.value or 0.0 for one in shown("fuel_delivery", _HEALTHY, 2000)]
    assert np.mean(drawn) == pytest.approx(0.9, abs=0.002)
    assert np.std(drawn) == pytest.approx(0.025, rel=0.06)


def test_a_number_read_again_shares_the_stated_part_of_its_error() -> None:
    first, second = (
        [one.value or 0.0 for one in shown("fuel_delivery", _HEALTHY, 2000, again)]
        for again in (0, 1)
    )
    assert np.std(second) == pytest.approx(0.025, rel=0.06)
    stated = rates()["fuel_delivery"]["shared"]
    assert np.corrcoef(first, second)[0, 1] == pytest.approx(stated, abs=0.05)


def test_a_word_shown_again_is_the_same_as_often_as_stated() -> None:
    leaking = replace(_HEALTHY, cause="leak", sizes={"leak": 0.4})
    first, second = (
        np.array([one.outcome == "seen" for one in shown("smoke_test", leaking, 1500, again)])
        for again in (0, 1)
    )
    assert second.mean() == pytest.approx(first.mean(), abs=0.05)
    stated = rates()["smoke_test"]["shared"]
    assert np.corrcoef(first, second)[0, 1] == pytest.approx(stated, abs=0.07)


def test_what_a_check_shows_does_not_hang_on_when_it_is_made() -> None:
    assert shown("relearn", _HEALTHY, 20) == shown("relearn", _HEALTHY, 20)


def test_a_check_without_a_true_number_cannot_be_made() -> None:
    facts = {**_FACTS, "trim_2500_pct": float("nan")}
    assert outcome("hold_2500", replace(_HEALTHY, facts=facts)) is None


def test_what_is_put_right_fails_and_changes_for_other_reasons_as_often_as_stated() -> None:
    table = rates()["relearn"]
    stale = replace(_HEALTHY, cause="learned_stale", facts={**_FACTS, "relearned_rpm": 200.0})
    fell = np.array([one.value or 0.0 for one in shown("relearn", stale, 3000)])
    assert np.mean(fell < 50.0) == pytest.approx(table["fails"], abs=0.02)
    took = fell[fell > 50.0]
    assert np.median(took) == pytest.approx(200.0, abs=1.0)
    odd = table["other"] / (1.0 - table["fails"])
    far = np.mean(np.abs(took - 200.0) > 5 * table["error"])
    assert 0.1 * odd < far < odd


def test_what_failed_once_fails_again_as_often_as_stated() -> None:
    stale = replace(_HEALTHY, cause="learned_stale", facts={**_FACTS, "relearned_rpm": 400.0})
    first, second = (
        np.array([(one.value or 0.0) < 100.0 for one in shown("relearn", stale, 4000, again)])
        for again in (0, 1)
    )
    assert second.mean() == pytest.approx(first.mean(), abs=0.02)
    stated = rates()["relearn"]["shared"]
    assert np.corrcoef(first, second)[0, 1] == pytest.approx(stated, abs=0.1)
