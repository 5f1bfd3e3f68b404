"""Each car against the family of the others: by chance one in a hundred is off, and a car that
is slightly off is told from them."""

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.nuisance import LEARNED
from bellmouth.fleet.crowd import begin, converge, crowd_of, expect, unsure
from bellmouth.fleet.left_out import LeftOut, leave_out
from tests.fleet.test_crowd import SIZE, WIDE, study

Floats = NDArray[np.float64]


def _left_out(seen: Floats, precision: Floats) -> LeftOut:
    crowd = crowd_of([study(one, precision) for one in seen], [str(n) for n in range(len(seen))])
    any_car = crowd.whole(crowd.log_evidence, begin(SIZE).shares)
    state = converge(crowd, begin(SIZE), any_car, WIDE)
    told = expect(crowd, state, any_car)
    return leave_out(crowd, state, told, any_car, unsure(crowd, state, told), WIDE)


def _cars(count: int, precision: float, seed: int) -> Floats:
    rng = np.random.default_rng(seed)
    own = rng.normal(0.5, 0.3, (count, SIZE))
    return np.asarray(own + rng.normal(0.0, precision**-0.5, own.shape))


def test_of_cars_like_the_rest_few_are_called_off() -> None:
    found = _left_out(_cars(300, 25.0, 5), np.full(SIZE, 25.0))
    chance = found.chance
    # Of 300 at 1 %, more than 9 are one draw in a thousand; nor is nobody ever near it.
    assert np.count_nonzero(chance < 0.01) <= 9
    assert 3 <= np.count_nonzero(chance < 0.1) <= 45
    assert np.median(found.gain) > 1.0


def test_a_car_slightly_off_is_told_by_what_is_off() -> None:
    cars = _cars(60, 25.0, 6)
    cars[7] = 0.5
    cars[7, 4] = 0.5 - 4.5 * np.hypot(0.3, 0.2)
    found = _left_out(cars, np.full(SIZE, 25.0))
    assert found.slightly_off(7)
    assert found.furthest[7] == LEARNED[4]
    assert -6.0 < found.off[7] < -3.0


def test_what_no_recording_tells_calls_nobody_off() -> None:
    found = _left_out(_cars(20, 25.0, 7), np.full(SIZE, 1e-6))
    np.testing.assert_array_equal(found.chance, 1.0)


def test_recordings_of_one_car_do_not_vouch_for_each_other() -> None:
    cars = _cars(40, 25.0, 8)
    cars[:3] = 0.5
    cars[:3, 2] = 0.5 + 5.0 * np.hypot(0.3, 0.2)
    precision = np.full(SIZE, 25.0)
    crowd = crowd_of(
        [study(one, precision) for one in cars], ["same"] * 3 + [str(n) for n in range(37)]
    )
    assert crowd.owner.tolist()[:4] == [0, 0, 0, 3]
    any_car = crowd.whole(crowd.log_evidence, begin(SIZE).shares)
    state = converge(crowd, begin(SIZE), any_car, WIDE)
    told = expect(crowd, state, any_car)
    found = leave_out(crowd, state, told, any_car, unsure(crowd, state, told), WIDE)
    assert all(found.slightly_off(place) for place in range(3))
