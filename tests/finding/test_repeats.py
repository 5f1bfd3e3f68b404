"""A check made again: part of its error comes again, and the order of the times does not matter."""

from itertools import permutations, product

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from bellmouth.car.description import Known
from bellmouth.errors import FindingError
from bellmouth.finding.case import Case, solve
from bellmouth.finding.check_parts import Parts
from bellmouth.finding.check_sizes import nodes_of, outcomes_at, predicted_number
from bellmouth.finding.check_table import CHECKS
from bellmouth.finding.checks import next_checks, outcome_table, parse_results, result_log
from bellmouth.finding.repeats import (
    again_at,
    log_of_all,
    log_of_numbers,
    log_of_words,
    words_again,
)
from tests.finding.garage import car, stretches

_TABLE = np.array([[0.8, 0.2], [0.3, 0.7]])


@pytest.fixture(scope="module")
def case() -> Case:
    return solve(stretches(meter=0.8), [], car())


def common(shared: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.full(len(_TABLE), np.sqrt(shared))


@pytest.mark.parametrize("shared", [0.0, 0.3, 0.99])
def test_two_times_are_correlated_as_stated(shared: float) -> None:
    """Each time alone shows a word as often as ever; as 0 and 1 the two have this correlation."""
    pairs = {
        (a, b): np.exp(log_of_words(_TABLE, [a, b], common(shared)))
        for a, b in product(range(2), repeat=2)
    }
    assert sum(pairs.values()) == pytest.approx(1.0)
    first = pairs[1, 0] + pairs[1, 1]
    assert first == pytest.approx(_TABLE[:, 1])
    variance = _TABLE[:, 1] * _TABLE[:, 0]
    assert (pairs[1, 1] - first**2) / variance == pytest.approx(shared)


def test_the_same_error_again_tells_nothing_and_another_one_as_much_as_the_first() -> None:
    once = np.log(_TABLE[:, 1])
    assert log_of_words(_TABLE, [1, 1], common(1.0)) == pytest.approx(once)
    assert log_of_words(_TABLE, [1, 1], common(0.0)) == pytest.approx(2 * once)


def test_numbers_are_jointly_normal_as_scipy_has_it() -> None:
    """scipy.stats.multivariate_normal as the outside road; stray ones are some 3 in 100 each."""
    check, mean, sd = CHECKS["closed_reading"], np.array([3.0, 5.0]), np.array([0.9, 2.0])
    values = (3.4, 3.1, 3.3)
    told = log_of_numbers(check, values, Parts.one(mean, sd))
    for place in range(2):
        own = check.error**2 * (1 - check.shared)
        matrix = np.full((3, 3), sd[place] ** 2 - own) + own * np.eye(3)
        by_hand = multivariate_normal(np.full(3, mean[place]), matrix).logpdf(values)
        assert told[place] == pytest.approx(by_hand, abs=0.1)


def test_one_number_is_normal_or_a_stray_one() -> None:
    check = CHECKS["fuel_delivery"]
    told = log_of_numbers(check, [1.5], Parts.one(np.array([1.0]), np.array([0.03])))
    assert np.exp(told) == pytest.approx(0.03 / (check.high - check.low), rel=1e-6)


def test_one_wrong_number_of_three_does_not_outweigh_two(case: Case) -> None:
    names = case.hypotheses.names
    told = result_log(case, parse_results([f"fuel_delivery={v}" for v in ("1.0", "0.7", "1.01")]))
    assert told[names.index("meter_low")] > told[names.index("fuel_low")] + 2


@pytest.mark.parametrize(
    "given",
    [
        ("smoke_test=none", "smoke_test=seen", "smoke_test=seen"),
        ("fuel_delivery=0.97", "fuel_delivery=1.02", "fuel_delivery=0.9"),
        ("fuel_delivery=low", "fuel_delivery=1.02", "fuel_delivery=normal"),
        ("smoke_test=none", "fuel_delivery=1.02", "smoke_test=seen"),
    ],
)
def test_the_order_does_not_matter(case: Case, given: tuple[str, ...]) -> None:
    first, *others = (result_log(case, parse_results(told)) for told in permutations(given))
    for other in others:
        assert other == pytest.approx(first, abs=1e-9)


def test_a_word_beside_a_number_of_the_same_check_adds_nothing(case: Case) -> None:
    number = result_log(case, parse_results(["fuel_delivery=0.97"]))
    both = result_log(case, parse_results(["fuel_delivery=normal", "fuel_delivery=0.97"]))
    assert both == pytest.approx(number)


@pytest.mark.parametrize("name", ["smoke_test", "closed_reading", "hold_2500"])
def test_a_word_again_tells_less_than_the_first_time(case: Case, name: str) -> None:
    check = CHECKS[name]
    for word in check.outcomes:
        once = result_log(case, parse_results([f"{name}={word}"]))[:-1]
        twice = result_log(case, parse_results([f"{name}={word}"] * 2))[:-1]
        assert np.ptp(twice - once) < np.ptp(once) + 1e-9


def test_two_that_contradict_each_other_leave_little_of_either(case: Case) -> None:
    leak, healthy = (case.hypotheses.names.index(name) for name in ("leak", "healthy"))
    for told, most in ((["smoke_test=seen"], 4.0), (["smoke_test=seen", "smoke_test=none"], 0.8)):
        log = result_log(case, parse_results(told))
        assert abs(log[leak] - log[healthy]) < most
    assert log[leak] - log[healthy] == pytest.approx(0.0, abs=0.8)


@pytest.mark.parametrize(
    "given",
    [
        ["smoke_test=none"], ["smoke_test=none", "smoke_test=seen"], ["fuel_delivery=0.97"],
        ["closed_reading=3", "closed_reading=3.5"], ["closed_reading=usual"],
    ],
)  # fmt: skip
def test_what_comes_next_is_told_by_what_came(case: Case, given: list[str]) -> None:
    """Probabilities; of words they are those of all times over those of the times before."""
    results = parse_results(given)
    check, nodes = CHECKS[results[0].check], nodes_of(case)
    found = again_at(nodes, check, results)
    assert found.sum(axis=1) == pytest.approx(1.0, abs=1e-6)
    assert found.min() > 0
    before = log_of_all(nodes, check, results)
    for index, word in enumerate(check.outcomes):
        if results[0].value is None:
            after = log_of_all(nodes, check, parse_results([*given, f"{check.name}={word}"]))
            assert found[:, index] == pytest.approx(np.exp(after - before))


def test_a_number_read_once_is_expected_again() -> None:
    case = solve(stretches(meter=0.8), [], car())
    check, nodes = CHECKS["closed_reading"], nodes_of(case)
    edge = check.edges[0]
    below = again_at(nodes, check, parse_results([f"closed_reading={edge - 1}"]))
    above = again_at(nodes, check, parse_results([f"closed_reading={edge + 1}"]))
    mean, sd = predicted_number(nodes, check)
    wide = sd > 3 * check.error
    assert (below[wide, 0] > 0.9).all()
    assert (above[wide, 1] > 0.9).all()
    assert mean.shape == sd.shape


def test_unexplained_takes_a_repeat_too(case: Case) -> None:
    made = parse_results(["smoke_test=none"])
    table = outcome_table(case, CHECKS["smoke_test"], None, made)
    assert table.sum(axis=1) == pytest.approx(1.0)
    assert table[-1, 0] > outcome_table(case, CHECKS["smoke_test"])[-1, 0]
    first = words_again(_TABLE, [], common(0.5))
    assert first == pytest.approx(_TABLE)


def test_a_check_that_surprised_is_suggested_again_for_what_is_new_in_it(case: Case) -> None:
    names = (*case.hypotheses.names, "unexplained")
    even = dict.fromkeys(names, 0.0) | {"healthy": 0.5, "leak": 0.5}
    first = {one.check: one for one in next_checks(case, even, ())}
    made = parse_results(["smoke_test=none"])
    again = {one.check: one for one in next_checks(case, even, made)}
    assert (first["smoke_test"].made, again["smoke_test"].made) == (0, 1)
    assert 0.005 < again["smoke_test"].bits < first["smoke_test"].bits
    assert again["smoke_test"].how == CHECKS["smoke_test"].again
    assert again["smoke_test"].caution == CHECKS["smoke_test"].caution


def test_a_clean_plate_is_not_looked_at_for_deposit(case: Case) -> None:
    names = (*case.hypotheses.names, "unexplained")
    even = dict.fromkeys(names, 0.0) | {"healthy": 0.5, "deposit": 0.5}
    before = {one.check for one in next_checks(case, even, ())}
    after = {one.check for one in next_checks(case, even, parse_results(["plate_cleaned=0.2"]))}
    gone = {"bore_look", "closed_reading"}
    assert gone | {"plate_cleaned"} <= before
    assert not gone & after


def test_more_times_than_are_worth_counting_are_refused() -> None:
    assert len(parse_results(["smoke_test=none"] * 6)) == 6
    with pytest.raises(FindingError, match="given 7 times, at most 6 are counted"):
        parse_results(["smoke_test=none"] * 7)


def test_every_check_states_what_its_times_have_in_common() -> None:
    for check in CHECKS.values():
        assert 0.0 < check.shared < 1.0
        assert check.again
        assert set(check.ends) <= set(CHECKS)


def test_words_of_a_reading_share_what_is_unknown_of_the_car(case: Case) -> None:
    """The opening of this car is the same each time: two like words are hardly more than one."""
    nodes, check = nodes_of(case), CHECKS["closed_reading"]
    table = outcomes_at(nodes, check)
    twice = log_of_all(nodes, check, parse_results(["closed_reading=usual"] * 2))
    assert (np.exp(twice) > 0.7 * table[:, 1]).mean() > 0.5


def test_a_car_that_computes_its_air_has_its_inputs_checked_and_no_meter_swapped() -> None:
    case = solve(stretches(metering="pressure"), [], car("pressure"))
    names = (*case.hypotheses.names, "unexplained")
    even = dict.fromkeys(names, 0.0) | {"healthy": 0.5, "meter_low": 0.5}
    suggested = {one.check for one in next_checks(case, even, ())}
    assert "computed_air" in suggested
    assert "meter_swap" not in suggested
    told = result_log(case, parse_results(["computed_air=found"]))
    assert told[names.index("meter_low")] > told[names.index("healthy")] + 2


def test_a_closed_reading_that_the_car_file_holds_is_not_asked_for() -> None:
    known = car(closed_throttle_position_pct=Known(11.0))
    for described, asked in ((car(), True), (known, False)):
        case = solve(stretches(), [], described)
        names = (*case.hypotheses.names, "unexplained")
        even = dict.fromkeys(names, 0.0) | {"healthy": 0.5, "deposit": 0.5}
        suggested = {one.check for one in next_checks(case, even, ())}
        assert ("closed_reading" in suggested) is asked
