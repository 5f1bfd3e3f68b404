"""Numbers of checks as sums of normal parts, against scipy."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from bellmouth.finding.check_parts import STRAY, Parts, words_of_number
from bellmouth.finding.check_table import CHECKS
from bellmouth.finding.repeats import _words_after_ways, log_of_numbers

_RELEARN = CHECKS["relearn"]


def _may_fail() -> Parts:
    """Two nodes, two ways to rise; it takes, fails or something else changed."""
    mean = np.array([[[60.0, 0.0, 60.0], [110.0, 0.0, 110.0]], [[0.0, 0.0, 0.0]] * 2])
    sd = np.tile([12.0, 10.0, 50.0], (2, 2, 1))
    return Parts(np.array([[0.3, 0.7], [0.5, 0.5]]), mean, sd, np.array([0.87, 0.08, 0.05]))


def test_moments_are_those_of_the_sum() -> None:
    parts = _may_fail()
    mean, sd = parts.moments()
    share = (parts.weight[0][:, None] * parts.state).ravel()
    middle, width = parts.mean[0].ravel(), parts.sd[0].ravel()
    assert mean[0] == pytest.approx(share @ middle)
    assert sd[0] ** 2 == pytest.approx(share @ (width**2 + middle**2) - mean[0] ** 2)


def test_words_are_what_lies_between_the_edges() -> None:
    parts = _may_fail()
    table = words_of_number((15.0,), parts)
    share = (parts.weight[0][:, None] * parts.state).ravel()
    below = share @ norm.cdf(15.0, parts.mean[0].ravel(), parts.sd[0].ravel())
    assert table[0, 0] == pytest.approx((1 - STRAY) * below + STRAY / 2, abs=1e-6)
    assert table.sum(axis=1) == pytest.approx(1.0)


def test_densities_of_one_and_of_two_numbers_add_up_to_one() -> None:
    parts = _may_fail()
    every = np.arange(_RELEARN.low, _RELEARN.high, 10.0)
    once = np.array([log_of_numbers(_RELEARN, [v], parts) for v in every])
    assert np.exp(once).sum(axis=0) * 10.0 == pytest.approx(1.0, abs=0.01)
    second, _ = quad(
        lambda v: float(np.exp(log_of_numbers(_RELEARN, [3.0, v], parts)[0])),
        -500.0, 1500.0, points=[0.0, 60.0, 110.0], limit=200,
    )  # fmt: skip
    assert second == pytest.approx(np.exp(log_of_numbers(_RELEARN, [3.0], parts))[0], rel=0.01)


def test_the_order_of_the_times_does_not_matter() -> None:
    parts = _may_fail()
    one = log_of_numbers(_RELEARN, [3.0, 64.0, 55.0], parts)
    other = log_of_numbers(_RELEARN, [55.0, 3.0, 64.0], parts)
    assert one == pytest.approx(other)


def test_learning_that_took_the_second_time_makes_up_for_a_first_that_did_not() -> None:
    """It failed once, or something else changed once: the first is likelier with surplus air."""
    parts = _may_fail()
    failed = log_of_numbers(_RELEARN, [1.0], parts)
    assert failed[0] < failed[1] - 1.5
    both = log_of_numbers(_RELEARN, [1.0, 108.0], parts)
    assert both[0] > both[1] + 0.5


def test_words_after_numbers_are_the_ratio_of_their_densities() -> None:
    parts = _may_fail()
    table = _words_after_ways(_RELEARN, [1.0], parts, _RELEARN.edges)
    assert table.sum(axis=1) == pytest.approx(1.0)
    above, _ = quad(
        lambda v: float(np.exp(log_of_numbers(_RELEARN, [1.0, v], parts)[0])),
        15.0, 1500.0, points=[60.0, 110.0], limit=200,
    )  # fmt: skip
    given = above / float(np.exp(log_of_numbers(_RELEARN, [1.0], parts)[0]))
    assert table[0, 2] == pytest.approx(given, abs=0.03)
