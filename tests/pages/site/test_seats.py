"""Who drives a coached attempt."""

import pytest

from bellmouth.errors import BellmouthError
from bellmouth.pages.site.seats import QUIET_S, Seats

ONE, TWO = "1" * 16, "2" * 16


class Clock:
    """Seconds that a test moves."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def test_one_page_drives_and_another_has_to_take_over() -> None:
    seats = Seats(Clock())
    assert seats.sit("car", "p", ONE)
    assert not seats.sit("car", "p", TWO)
    assert seats.holds("car", ONE)
    assert seats.sit("car", "p", TWO, take=True)
    assert not seats.sit("car", "p", ONE), "and learns it when it says that it is there"
    assert seats.holds("car", TWO)


def test_a_page_that_has_gone_quiet_has_left_its_seat() -> None:
    clock = Clock()
    seats = Seats(clock)
    seats.sit("car", "p", ONE)
    clock.now_s = QUIET_S - 0.1
    assert seats.attended("car")
    clock.now_s = QUIET_S + 0.1
    assert not seats.attended("car")
    assert seats.sit("car", "other", TWO)


def test_another_procedure_on_the_same_car_is_refused() -> None:
    seats = Seats(Clock())
    seats.sit("car", "p", ONE)
    with pytest.raises(BellmouthError, match="Another procedure is being coached on this car"):
        seats.sit("car", "q", TWO, take=True)
    assert seats.sit("another car", "q", TWO)


def test_only_its_own_page_leaves_a_seat() -> None:
    seats = Seats(Clock())
    seats.sit("car", "p", ONE)
    seats.leave("car", TWO)
    assert seats.holds("car", ONE)
    seats.leave("car", ONE)
    assert not seats.attended("car")
