"""A load that was on throughout goes when it is switched off; surplus air does not."""

import numpy as np
import pytest

from bellmouth.finding.case import Case, solve
from bellmouth.finding.check_idle import fall_by_learning, idle_unloaded, recorded_idle_rpm
from bellmouth.finding.check_sizes import Nodes, nodes_of, parts_of_number
from bellmouth.finding.check_table import CHECKS
from bellmouth.finding.checks import next_checks, parse_results, result_log
from bellmouth.finding.disagree import remarks
from bellmouth.finding.idle_speed import speed_parts
from bellmouth.finding.repeats import log_of_numbers
from tests.finding.garage import car, stretches

_UP_RPM = 80.0


@pytest.fixture(scope="module")
def high() -> Case:
    """An idle 85 rpm over what the car file says: a load throughout, or air that nobody wants."""
    return solve(stretches(idle_up_rpm=_UP_RPM), [], car())


@pytest.fixture(scope="module")
def nodes(high: Case) -> Nodes:
    return nodes_of(high)


def _odds(case: Case, *results: str) -> float:
    """How much the results speak for stale learning against a healthy engine. [nats]"""
    log = result_log(case, parse_results(results))
    return float(log[case.hypotheses.names.index("learned_stale")] - log[0])


def test_a_load_that_goes_speaks_for_health_and_one_that_was_none_for_surplus(high: Case) -> None:
    assert _odds(high, "loads_off=lower") < -1.0
    assert _odds(high, "loads_off=same") > 0.5
    assert _odds(high, "loads_off=703") < _odds(high, "loads_off=lower")
    assert _odds(high, "loads_off=785") == pytest.approx(_odds(high, "loads_off=same"), abs=0.4)


def test_an_idle_on_its_mark_has_nothing_to_lose() -> None:
    even = solve(stretches(), [], car())
    assert abs(_odds(even, "loads_off=same")) < 0.3


def test_words_count_from_the_idle_that_was_recorded(nodes: Nodes) -> None:
    """20 rpm below it a number becomes *lower*."""
    assert recorded_idle_rpm(nodes.case) == pytest.approx(705.0 + _UP_RPM, abs=1.0)
    lower = np.exp(result_log(nodes.case, parse_results(["loads_off=lower"])))[:-1]
    every = np.arange(300.0, 1500.0, 4.0)
    density = np.exp(
        np.stack([result_log(nodes.case, parse_results([f"loads_off={v}"]))[:-1] for v in every])
    )
    below = density[every < recorded_idle_rpm(nodes.case) - 20.0].sum(axis=0) * 4.0
    assert below == pytest.approx(lower, abs=0.04)


def test_the_density_of_what_is_read_adds_up_to_one(nodes: Nodes) -> None:
    check = CHECKS["loads_off"]
    parts = parts_of_number(nodes, check)
    every = np.arange(check.low, check.high, 2.0)
    log = np.stack([log_of_numbers(check, [v], parts) for v in every])
    assert np.exp(log).sum(axis=0) * 2.0 == pytest.approx(1.0, abs=0.01)


def test_a_healthy_engine_had_a_load_as_often_as_its_idle_speed_says(nodes: Nodes) -> None:
    """Against the likelihood of the recorded speed, no surplus; slices of load twice as wide."""
    weight, mean, _ = idle_unloaded(nodes)
    held = nodes.case.idle.held
    assert held is not None
    table = nodes.case.priors.idle_speed
    alike, up, _ = speed_parts(np.array(held.excess_rpm), held.sd_rpm, held.shares, table)
    healthy = np.flatnonzero(nodes.hypothesis == 0)[0]
    loaded = weight[healthy, 1:-1].sum() / weight[healthy, :-1].sum()
    assert loaded == pytest.approx(float(up / (alike + up)), abs=0.06)
    told = weight[healthy, 1:-1] @ mean[healthy, 1:-1] / weight[healthy, 1:-1].sum()
    assert told == pytest.approx(700.0, abs=8.0)  # what the car file says


def test_it_is_asked_for_where_a_load_and_surplus_are_alike_and_not_after_learning(
    high: Case,
) -> None:
    names = (*high.hypotheses.names, "unexplained")
    even = {name: 1.0 / len(names) for name in names}

    def suggested(*results: str) -> set[str]:
        return {one.check for one in next_checks(high, even, parse_results(results))}

    assert "loads_off" in suggested()
    assert "loads_off" in suggested("relearn=no_change")
    assert "loads_off" not in suggested("relearn=settled")
    assert "loads_off" not in suggested("plate_cleaned=0.1")


def test_it_is_not_asked_for_without_a_warm_idle() -> None:
    held = [one for one in stretches() if one.kind == "held"]
    case = solve(held, [], car())
    names = (*case.hypotheses.names, "unexplained")
    even = {name: 1.0 / len(names) for name in names}
    assert "loads_off" not in {one.check for one in next_checks(case, even, [])}
    told = parse_results(["loads_off=850"])
    assert result_log(case, told)[:-1] == pytest.approx(result_log(case, told)[0])
    (said,) = remarks(case, np.array(list(even.values())), told)
    assert "no warm idle was recorded" in said.sentence
    assert said.disagrees_with is None


def test_learning_takes_back_what_stale_learning_raised_and_nothing_else(nodes: Nodes) -> None:
    """The idle stands 85 rpm above its mark: where surplus explains it, most of that goes."""
    names = nodes.case.hypotheses.names
    weight, mean, _ = fall_by_learning(nodes)
    fall = (weight * mean).sum(axis=1)
    stale = nodes.hypothesis == names.index("learned_stale")
    told = np.exp(nodes.log_share[stale]) @ fall[stale]
    assert 0.5 * (_UP_RPM + 5.0) < told < 1.2 * (_UP_RPM + 5.0)
    assert fall[nodes.hypothesis == 0] == pytest.approx(0.0)
    assert fall[nodes.hypothesis == names.index("leak")] == pytest.approx(0.0)


def test_an_idle_that_settles_is_told_better_in_rpm_than_in_a_word(high: Case) -> None:
    assert _odds(high, "relearn=80") > _odds(high, "relearn=settled") > 1.0
    assert _odds(high, "relearn=0") < -1.5
    again = _odds(high, "relearn=0", "relearn=82")
    assert _odds(high, "relearn=0") < again < _odds(high, "relearn=82")
