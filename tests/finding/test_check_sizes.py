"""What a check says about sizes, and what they say about it."""

import numpy as np
import pytest
from scipy.special import ndtr

from bellmouth.finding.check_sizes import (
    _normal_cdf,
    nodes_of,
    parts_of_number,
    predicted_number,
)
from bellmouth.finding.check_table import CHECKS
from bellmouth.finding.checks import parse_results, result_log, with_results
from bellmouth.finding.find import Case, solve
from bellmouth.finding.repeats import log_of_numbers
from bellmouth.finding.sizes import sizes_of
from tests.finding.garage import car, stretches


@pytest.fixture(scope="module")
def case() -> Case:
    return solve(stretches(meter=0.8), [], car())


def test_the_nodes_of_a_hypothesis_hold_all_of_it(case: Case) -> None:
    nodes = nodes_of(case)
    assert nodes.marginal(np.ones(len(nodes.hypothesis))) == pytest.approx(1.0, abs=1e-6)


def test_a_number_is_asked_of_every_size_that_is_possible(case: Case) -> None:
    """Mean over the grid, not the density at the best fit: the two differ where a size is wide."""
    check = CHECKS["fuel_delivery"]
    nodes = nodes_of(case)
    row = case.hypotheses.names.index("fuel_low")
    mine = nodes.hypothesis == row
    log = log_of_numbers(check, [0.8], parts_of_number(nodes, check))
    by_hand = np.exp(nodes.log_share[mine]) @ np.exp(log[mine])
    told = result_log(case, parse_results(["fuel_delivery=0.8"]))
    assert told[row] == pytest.approx(np.log(by_hand), abs=1e-6)


def test_a_number_read_narrows_the_size(case: Case) -> None:
    before = sizes_of(case)["fuel_low"]["fuel_low"]
    edge = before.low
    told = with_results(case, parse_results([f"fuel_delivery={edge:.4f}"]))
    after = sizes_of(told)["fuel_low"]["fuel_low"]
    assert after.high - after.low <= before.high - before.low
    assert abs(after.value - edge) < abs(before.value - edge)


def test_two_results_of_one_size_are_weighed_together(case: Case) -> None:
    """A second number contradicting the first one costs a cause more than each does alone."""
    row = case.hypotheses.names.index("fuel_low")
    first = result_log(case, parse_results(["fuel_delivery=0.8"]))[row]
    second = result_log(case, parse_results(["hold_2500=0"]))[row]
    both = result_log(case, parse_results(["fuel_delivery=0.8", "hold_2500=0"]))[row]
    assert np.isfinite([first, second, both]).all()
    assert both <= max(first, second)


def test_a_closed_reading_leaves_a_deposit_what_the_slope_is_not_known() -> None:
    """An opening is worth an area by the plate's slope, which one recording knows badly."""
    alone = solve(stretches(deposit_mm2=20.0), [], car())
    nodes = nodes_of(alone)
    _, sd = predicted_number(nodes, CHECKS["closed_reading"])
    area, holds = nodes.holding("deposit")
    mine = holds & (nodes.hypothesis == alone.hypotheses.names.index("deposit"))
    large = mine & (area > np.log(25.0))
    healthy = nodes.hypothesis == 0
    assert sd[large].min() > 1.3 * sd[healthy].max()


def test_the_normal_distribution_is_the_one_that_scipy_has() -> None:
    z = np.linspace(-12, 12, 401)
    assert _normal_cdf(z) == pytest.approx(ndtr(z), abs=3e-7)
    assert _normal_cdf(np.array([-np.inf, np.inf])) == pytest.approx([0.0, 1.0], abs=3e-7)
