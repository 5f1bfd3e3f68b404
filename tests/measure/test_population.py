"""Weights, tables and targets that the accuracy run is made of."""

import numpy as np
import pytest

from bellmouth.finding.priors import cause_weights
from measure import accuracy
from measure.population import equal_weights, log_weights
from measure.tables import number, table, target

_NAMES = ("healthy", "leak", "fuel_low", "leak+fuel_low", "unexplained")


def test_weights_sum_to_one_and_pairs_share_theirs() -> None:
    weight = np.exp(log_weights(_NAMES, cause_weights("unknown")))
    assert weight.sum() == pytest.approx(1.0)
    stated = cause_weights("unknown")
    assert weight[1] / weight[0] == pytest.approx(stated["leak"] / stated["healthy"])
    assert weight[3] / weight[0] == pytest.approx(stated["pairs"] / stated["healthy"])


def test_weights_as_drawn_are_the_shares_of_the_causes() -> None:
    weights = equal_weights(("healthy", "leak", "healthy", "leak+fuel_low"))
    assert weights == {"healthy": 0.5, "leak": 0.25, "leak+fuel_low": 0.25}
    assert np.exp(log_weights(_NAMES, weights)).tolist() == pytest.approx([0.5, 0.25, 0, 0.25, 0])


def test_a_quarter_of_the_cases_is_healthy() -> None:
    assert accuracy.CAUSES.count("healthy") / len(accuracy.CAUSES) >= 0.25


def test_the_variant_kept_for_the_end_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert accuracy.main(["--variant", "D", "--quick", "--cases", "1"]) == 2
    assert "variant D is kept for the end" in capsys.readouterr().err


def test_tables_align_and_name_nothing_where_there_is_nothing() -> None:
    assert number(float("nan")) == "-"
    text = table(("what", "n"), [("a", "1"), ("long", "10")])
    assert text.splitlines() == ["what  n", "----  --", "a      1", "long  10"]


def test_targets_say_met_or_missed() -> None:
    assert target("right", 0.8, 0.76, at_least=True).startswith("     met")
    assert target("right", 0.7, 0.76, at_least=True).startswith("  MISSED")
    assert "no cases" in target("right", float("nan"), 0.76, at_least=True)
