"""What cleaning a plate would change in its reading, under each cause."""

import numpy as np
import pytest

from bellmouth.finding.case import Case, solve
from bellmouth.finding.check_plate import fall_by_cleaning, opening_over_stop
from bellmouth.finding.check_sizes import Nodes, nodes_of
from bellmouth.finding.checks import parse_results, result_log
from tests.finding.garage import car, stretches


@pytest.fixture(scope="module")
def case() -> Case:
    return solve(stretches(), [], car())


def of(nodes: Nodes, cause: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    found: np.ndarray[tuple[int], np.dtype[np.bool_]] = (
        nodes.hypothesis == nodes.case.hypotheses.names.index(cause)
    )
    return found


def test_only_what_is_on_the_plate_or_learned_falls(case: Case) -> None:
    nodes = nodes_of(case)
    mean, sd = fall_by_cleaning(nodes)
    for cause in ("healthy", "leak", "meter_low", "fuel_high"):
        assert mean[of(nodes, cause)] == pytest.approx(0.0)
        assert sd[of(nodes, cause)] == pytest.approx(0.0)
    for cause in ("deposit", "learned_stale"):
        assert (mean[of(nodes, cause)] > 0).all()
        assert (sd[of(nodes, cause)] > 0).all()


def test_a_larger_deposit_falls_further_and_stands_further_open(case: Case) -> None:
    nodes = nodes_of(case)
    mine = of(nodes, "deposit")
    order = np.argsort(nodes.sizes[mine, 0])
    fall = fall_by_cleaning(nodes)[0][mine][order]
    assert np.corrcoef(np.arange(len(order)), fall)[0, 1] > 0.8
    opening = opening_over_stop(nodes)[0][mine]
    assert (opening > fall_by_cleaning(nodes)[0][mine]).all()


def test_a_reading_that_fell_speaks_for_deposit_and_one_that_did_not_against(case: Case) -> None:
    names = case.hypotheses.names
    deposit, healthy = names.index("deposit"), names.index("healthy")
    fell = result_log(case, parse_results(["plate_cleaned=2.5"]))
    stayed = result_log(case, parse_results(["plate_cleaned=0.1"]))
    assert fell[deposit] - fell[healthy] > 2
    assert stayed[deposit] - stayed[healthy] < -0.5
