"""The judge against simulated attempts, few of them; `make accuracy` has many."""

import numpy as np
import pytest

from measure.attempts import simulate
from measure.learning import tally


@pytest.mark.parametrize(("rate_hz", "normal"), [(None, False), (10.0, False), (10.0, True)])
def test_never_met_where_it_was_not(rate_hz: float | None, normal: bool) -> None:
    rng = np.random.default_rng(20)
    found = tally([simulate(rng, rate_hz, normal=normal) for _ in range(70)])
    assert found.wrong == ()
    assert found.false_met == found.false_missed == found.unexplained == 0
    assert 15 < found.truly_met < 65


def test_ten_samples_a_second_are_enough_to_tell_mostly() -> None:
    rng = np.random.default_rng(21)
    assert tally([simulate(rng, 10.0) for _ in range(120)]).cannot_tell_share < 0.13


def test_the_truth_knows_every_kind_of_slip() -> None:
    rng = np.random.default_rng(22)
    attempts = [simulate(rng, 10.0) for _ in range(300)]
    spoiled = {one.spoiled for one in attempts}
    assert {"", "count", "blip", "let go at the first blink", "press in the wait"} <= spoiled
