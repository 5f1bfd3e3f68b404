"""What was said of a new leak beside what was so, weighed to how often work leaves one behind."""

import numpy as np
import pytest

from measure.hidden_leaks import observed


def test_shares_are_weighed_to_how_often_work_leaves_a_leak_behind() -> None:
    """Half of the pairs leak; said .85 of all alike, it is so in .85 where .15 leave one behind."""
    leaks = np.arange(40) % 2 == 0
    [(low, high, pairs, said, right)] = observed(np.full(40, 0.85), leaks, 0.15)
    assert (low, high, pairs) == (0.8, 0.9, 40)
    assert said == pytest.approx(0.85)
    assert right == pytest.approx(0.85)
    assert observed(np.full(40, 0.85), leaks, 0.05)[0][4] == pytest.approx(0.95)


def test_a_pair_that_is_certain_stands_in_the_last_row() -> None:
    rows = observed(np.array([1.0, 0.99, 0.05]), np.array([False, False, True]), 0.5)
    assert [row[2] for row in rows] == [1, 2]
    assert [row[4] for row in rows] == [0.0, 1.0]
