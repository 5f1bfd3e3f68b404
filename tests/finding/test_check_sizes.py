"""What a check says about sizes, and what they say about it."""

import numpy as np
import pytest

from bellmouth.finding.case import Case, solve
from bellmouth.finding.check_sizes import (
    Nodes,
    nodes_of,
    parts_of_number,
    predicted_number,
)
from bellmouth.finding.check_table import CHECKS
from bellmouth.finding.checks import parse_results, result_log, with_results
from bellmouth.finding.repeats import log_of_numbers
from bellmouth.finding.sizes import sizes_of
from bellmouth.physics import orifice
from tests.finding.garage import AMBIENT_KPA, INTAKE_K, SPEEDS, car, stretches


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


@pytest.mark.parametrize(
    ("closed", "cleaned", "more_than_both"), [(3.0, 10.0, -1.0), (10.0, 6.0, 0.3)]
)
def test_two_results_of_one_size_are_weighed_together(
    closed: float, cleaned: float, more_than_both: float
) -> None:
    """Where a second number contradicts the first a deposit loses more than each costs it alone,
    and more than both would if each were about a size of its own; where it agrees, less."""
    dirty = solve(stretches(deposit_mm2=12.0), [], car())
    row = dirty.names.index("deposit")
    texts = [f"closed_reading={closed}", f"plate_cleaned={cleaned}"]
    first, second = (result_log(dirty, parse_results([one]))[row] for one in texts)
    both = result_log(dirty, parse_results(texts))[row]
    beyond = both - (first + second)
    assert beyond < more_than_both if more_than_both < 0 else beyond > more_than_both
    assert both < min(first, second)


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


def test_a_meter_put_right_brings_the_trim_back_by_its_error(case: Case) -> None:
    """The meter reads 20 % low: 25 % of trim, none with another meter."""
    nodes = nodes_of(case)
    parts = parts_of_number(nodes, CHECKS["meter_swap"])
    mine = nodes.hypothesis == case.hypotheses.names.index("meter_low")
    share = np.exp(nodes.log_share[mine])
    assert share @ parts.mean[mine, 0, 0] == pytest.approx(25.0, abs=3.5)
    assert parts.mean[nodes.hypothesis == 0, 0, 0] == pytest.approx(0.0, abs=1e-9)
    names = case.hypotheses.names
    came = result_log(case, parse_results(["meter_swap=24"]))
    stayed = result_log(case, parse_results(["meter_swap=0.5"]))
    low, fuel = names.index("meter_low"), names.index("fuel_low")
    assert came[low] - came[fuel] > 3.0
    assert stayed[fuel] - stayed[low] > 1.5  # cleaning may not have been enough


def test_a_trim_at_its_limit_shows_less_than_the_meter_is_off() -> None:
    limited = solve(stretches(meter=0.6, trim_limit=0.25), [], car())
    nodes = nodes_of(limited)
    mine = nodes.hypothesis == limited.hypotheses.names.index("meter_low")
    share = np.exp(nodes.log_share[mine])
    came = share @ parts_of_number(nodes, CHECKS["meter_swap"]).mean[mine, 0, 0]
    assert came == pytest.approx(100 * np.expm1(0.25), abs=2.0)
    leak = nodes.hypothesis == limited.hypotheses.names.index("leak")
    assert parts_of_number(nodes, CHECKS["meter_swap"]).mean[leak] == pytest.approx(0.0)


@pytest.mark.parametrize("diameter_mm", [1.0, 1.5, 2.0, 2.5])
def test_a_leaks_trim_at_2500_is_what_its_air_asks_for(diameter_mm: float) -> None:
    """Idle alone recorded, the hole known: the check expects what is left of its share of air."""
    made = stretches(leak_mm=diameter_mm)
    case = solve(made[:1], [], car())
    area = orifice.leak_area_m2(diameter_mm * 1e-3)
    row = np.array([case.hypotheses.names.index("leak")])
    mean, _ = predicted_number(
        Nodes(case, row, np.array([[np.log(area), np.nan]]), np.zeros(1)), CHECKS["hold_2500"]
    )
    idle, _, held = made
    more = held.value("mass_air_flow") / idle.value("mass_air_flow")
    leak = orifice.mass_flow_kg_s(area, AMBIENT_KPA * 1e3, SPEEDS[0][1] * 1e3, INTAKE_K) * 1e3
    # By the air alone: at idle, and with the flow 3.2 times as large, as without load.
    whole = idle.value("mass_air_flow") + leak
    asked = 100.0 * np.expm1(-np.log1p(-leak / (3.2 * whole)))
    assert mean[0] == pytest.approx(asked, rel=0.1)
    # The engine of this test breathes more there, so that it trims a little less.
    true = 100.0 * np.expm1(held.value("log_total_trim_bank_1"))
    assert more > 3.2
    assert 0.8 * true < mean[0] < 1.3 * true


def test_every_check_that_reads_a_number_has_one(case: Case) -> None:
    nodes = nodes_of(case)
    for check in CHECKS.values():
        if check.reads:
            mean, sd = predicted_number(nodes, check)
            assert mean.shape == sd.shape == nodes.hypothesis.shape
            assert np.isfinite(mean).all()
            assert (sd > 0).all(), check.name
