"""Spread of readings by one person and by two."""

import numpy as np
import pytest

from bellmouth.book.spread import spread_of


def test_nobody_read_twice() -> None:
    found = spread_of([{"ann": [2.0]}, {"bo": [3.0]}])
    assert (found.again, found.other, found.differ) == (None, None, None)
    assert (found.things, found.persons, found.readings) == (2, 2, 2)


def test_one_person_twice_tells_nothing_of_another() -> None:
    found = spread_of([{"ann": [2.0, 2.2]}])
    assert found.again is not None
    assert found.again.value == pytest.approx(0.2 / np.sqrt(2.0))
    assert found.other is None


def test_what_differs_between_things_does_not_count() -> None:
    readings = [{"ann": [2.0, 2.2], "bo": [2.6, 2.4]}, {"ann": [12.0, 12.2], "bo": [12.6, 12.4]}]
    near, far = spread_of([readings[0], readings[0]]), spread_of(readings)
    assert near.again is not None
    assert far.again is not None
    assert near.other is not None
    assert far.other is not None
    assert far.again.value == pytest.approx(near.again.value)
    assert far.other.value == pytest.approx(near.other.value)


def test_intervals_hold_nine_in_ten() -> None:
    rng = np.random.default_rng(3)
    again, other = [], []
    for _ in range(300):
        things = []
        for _ in range(6):
            own = rng.normal(0.0, 0.4, size=2)
            things.append(
                {"ann": own[0] + rng.normal(0, 0.2, 3), "bo": own[1] + rng.normal(0, 0.2, 2)}
            )
        found = spread_of([{k: v.tolist() for k, v in one.items()} for one in things])
        assert found.again is not None
        assert found.other is not None
        again.append(found.again.low <= 0.2 <= found.again.high)
        other.append(found.other.low <= 0.4 <= found.other.high)
    assert 0.85 <= np.mean(again) <= 0.95
    assert 0.85 <= np.mean(other) <= 0.96
