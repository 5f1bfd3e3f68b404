"""Outcomes of checks are drawn from the truth with the stated rates, for every check there is."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.car.description import Car, Known
from bellmouth.finding.check_table import CHECKS
from measure.cases import Sample
from measure.followups import outcome, rates

_FACTS = {
    "key_on": 1.0, "boost": 1.0, "fuel": 0.9, "trim_2500_pct": 4.0, "idle_opening_pct": 3.0,
    "choked_g_s_mm2": 0.236,
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


def test_smoke_is_seen_as_often_as_stated() -> None:
    rng = np.random.default_rng(0)
    big = replace(_HEALTHY, cause="leak", sizes={"leak": 2.5})
    small = replace(_HEALTHY, cause="leak", sizes={"leak": 0.3})
    seen = [
        np.mean(
            [getattr(outcome("smoke_test", s, rng), "outcome", "") == "seen" for _ in range(2000)]
        )
        for s in (_HEALTHY, small, big)
    ]
    assert seen[0] == pytest.approx(0.04, abs=0.015)
    assert 0.2 < seen[1] < 0.35
    assert seen[2] == pytest.approx(0.96, abs=0.015)


def test_a_number_is_the_truth_with_the_stated_error() -> None:
    rng = np.random.default_rng(1)
    drawn = [getattr(outcome("fuel_delivery", _HEALTHY, rng), "value", np.nan) for _ in range(4000)]
    assert np.mean(drawn) == pytest.approx(0.9, abs=0.002)
    assert np.std(drawn) == pytest.approx(0.025, rel=0.05)


def test_a_check_without_a_true_number_cannot_be_made() -> None:
    facts = {**_FACTS, "trim_2500_pct": float("nan")}
    blind = replace(_HEALTHY, facts=facts)
    assert outcome("hold_2500", blind, np.random.default_rng(2)) is None
