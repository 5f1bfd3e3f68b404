"""What two idle speeds of one car say together."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.finding.courses import AFTER, BEFORE
from bellmouth.finding.idle_pair import IdlePair, idle_pair
from bellmouth.finding.idle_speed import SHARES
from bellmouth.finding.prove import Pair, solve_pair
from tests.finding import garage


@pytest.fixture(scope="module")
def pair() -> Pair:
    return solve_pair(garage.stretches(), garage.stretches(idle_up_rpm=180.0), (), garage.car())


def log(pair: Pair, name: str, share: float, **car: object) -> float:
    side = idle_pair(
        pair.observations, garage.car(**car), pair.priors, pair.courses, pair.scales[0]  # type: ignore[arg-type]
    )  # fmt: skip
    row = [course.name for course in pair.courses.courses].index(name)
    return float(side(np.array([row]), np.array([[np.log(share), np.nan]]))[0])


def test_an_idle_that_rose_speaks_for_learning_that_is_stale_now(pair: Pair) -> None:
    assert log(pair, "healthy -> learned_stale", 0.35) > log(pair, "healthy -> healthy", 0.35) + 1
    assert log(pair, "learned_stale -> healthy", 0.35) < log(pair, "healthy -> healthy", 0.35)


def test_a_rise_at_both_times_is_the_car_s_own_idle(pair: Pair) -> None:
    """Where both idle high, stale learning all along is likelier than that it came."""
    both = solve_pair(
        garage.stretches(idle_up_rpm=180.0), garage.stretches(idle_up_rpm=184.0), (), garage.car()
    )
    stayed = log(both, "learned_stale -> learned_stale", 0.35)
    assert stayed > log(both, "healthy -> learned_stale", 0.35)


def test_without_a_warm_idle_nothing_is_said(pair: Pair) -> None:
    o = replace(pair.observations, idle=np.zeros_like(pair.observations.idle))
    side = idle_pair(o, garage.car(), pair.priors, pair.courses, pair.scales[0])
    assert side(np.array([0, 1]), np.full((2, 2), np.nan)).tolist() == [0.0, 0.0]


def test_the_air_that_an_idle_gained_tells_the_size_of_what_raised_it(pair: Pair) -> None:
    """A quarter more air is left of a surplus of which a part was given up, nobody knows which."""
    side = idle_pair(pair.observations, garage.car(), pair.priors, pair.courses, pair.scales[0])
    speed = _by_speed(side, AFTER)
    likeliest = SHARES[np.argmax(np.log(speed) + side.spent[AFTER])]
    gained = 880.0 / 700.0 - 1.0
    least = gained / (1.0 + gained)
    assert least <= likeliest <= 2.0 * least
    low, high = np.exp(pair.priors.sizes["learned_stale"])
    asked = (low <= SHARES) & (high >= SHARES)
    for recording in (BEFORE, AFTER):  # whether there is any is not told by it
        likely = _by_speed(side, recording)[asked]
        told = np.exp(side.spent[recording][asked])
        assert told @ likely / likely.sum() == pytest.approx(1.0)


def test_what_feedback_took_back_is_not_counted_twice(pair: Pair) -> None:
    """Of the largest surplus most was given up, says the speed; the air, held against the same
    share of it, hardly disagrees (counted apart the two speak against it by 1.45 nats)."""
    side = idle_pair(pair.observations, garage.car(), pair.priors, pair.courses, pair.scales[0])
    largest = SHARES[:-1] > 0.7
    assert np.all(side.spent[AFTER][:-1][largest] > -0.8)


def _by_speed(side: IdlePair, recording: int) -> np.ndarray:
    """What the speeds say of a surplus in one recording alone, (shares,)."""
    other = AFTER if recording == BEFORE else BEFORE
    held = side.weights * side.densities[other, "stale"][:, 0]
    return np.asarray(held @ side.densities[recording, "stale"])


def test_sizes_of_air_are_told_by_the_idle_they_were_found_in(pair: Pair) -> None:
    before, after = (scale.idle_flow_g_s for scale in pair.scales)
    assert after == pytest.approx(before * 880.0 / 700.0, rel=0.01)
