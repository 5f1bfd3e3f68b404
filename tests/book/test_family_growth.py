"""What a family's cars show of growth takes the place of the trade's rule."""

import pytest

from bellmouth.book.family_growth import assumed_of, learn_growth
from bellmouth.book.forecast import forecast
from bellmouth.book.visits import CarVisits, Read, Visit
from bellmouth.errors import BookError
from tests.book.test_forecast import LEVEL, _steady


def test_a_family_that_gets_dirty_quickly_is_inspected_sooner() -> None:
    cars = [CarVisits(f"van {n}", LEVEL, _steady(2.4 + 0.1 * n, 4, step=8_000.0)) for n in range(6)]
    growth = learn_growth(cars)
    # 2.4 to 2.9 mm² in 10,000 km reach 10 mm² after 34,000 to 42,000 km.
    assert growth.km_to_level[0] < 42_000.0 < growth.km_to_level[1]
    assert growth.cars == 6
    new = CarVisits("new", LEVEL, _steady(1.0, 1))
    usual, within = forecast(new), forecast(new, assumed=assumed_of(growth))
    assert within.inspect_at_km.value < usual.inspect_at_km.value - 15_000.0
    assert any("learnt from 6 cars of its family" in one for one in within.reasons)
    assert forecast(new, assumed=assumed_of(None)) == usual


def test_few_histories_are_refused() -> None:
    with pytest.raises(BookError, match=r"read at two odometers or more: 1\. At least 4"):
        learn_growth([CarVisits("van", LEVEL, _steady(2.5, 4))])
    # Seen before and after one cleaning, a car tells nothing of how fast it gets dirty.
    once = (
        Visit(60_000.0, None, Read(9.0, 1.0), cleaned=True),
        Visit(60_000.0, None, Read(1.0, 0.5)),
    )
    with pytest.raises(BookError, match="read at two odometers or more: 0"):
        learn_growth([CarVisits(f"van {n}", LEVEL, once) for n in range(5)])
