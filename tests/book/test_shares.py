"""Shares from few cases, and how groups lean on each other."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import beta

from bellmouth.book.shares import share_of, shares_of
from bellmouth.errors import BookError


@settings(max_examples=40)
@given(st.integers(0, 60), st.integers(0, 60))
def test_one_group_alone_has_jeffreys_interval(hits: int, misses: int) -> None:
    found = share_of(hits, hits + misses)
    low, high = beta.ppf([0.05, 0.95], hits + 0.5, misses + 0.5)
    assert (found.low, found.high) == pytest.approx((low, high), abs=4e-3)
    assert found.value == pytest.approx((hits + 0.5) / (hits + misses + 1))


@settings(max_examples=15, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), min_size=3, max_size=6))
def test_values_lie_in_their_intervals(counts: list[tuple[int, int]]) -> None:
    for one in shares_of([(hits, hits + misses) for hits, misses in counts]):
        assert 0.0 <= one.low <= one.value <= one.high <= 1.0


def test_groups_that_agree_sharpen_each_other() -> None:
    alike = shares_of([(2, 20)] * 8)[0]
    alone = share_of(2, 20)
    assert alike.high - alike.low < 0.75 * (alone.high - alone.low)


def test_a_group_that_stands_apart_keeps_most_of_its_own() -> None:
    *_, apart = shares_of([(1, 40), (2, 40), (0, 40), (30, 40)])
    assert apart.value > 0.65


def test_two_groups_tell_nothing_about_each_other() -> None:
    assert shares_of([(1, 10), (5, 10)]) == (share_of(1, 10), share_of(5, 10))


def test_intervals_hold_nine_in_ten() -> None:
    """Shares drawn from a beta distribution: what the model holds about groups is true there."""
    rng = np.random.default_rng(7)
    inside = []
    for _ in range(20):
        true = rng.beta(2.0, 18.0, size=8)
        cases = rng.integers(5, 40, size=8)
        hits = rng.binomial(cases, true)
        found = shares_of(list(zip(hits.tolist(), cases.tolist(), strict=True)))
        inside += [one.low <= t <= one.high for one, t in zip(found, true, strict=True)]
    assert 0.84 <= np.mean(inside) <= 0.96


def test_more_hits_than_cases_are_refused() -> None:
    with pytest.raises(BookError, match="3 of 2 is no share"):
        share_of(3, 2)
