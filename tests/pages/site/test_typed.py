"""Numbers as people type them."""

import pytest

from bellmouth.errors import BellmouthError
from bellmouth.pages.site.typed import controller_of, count_of, number_of


def test_a_decimal_comma_is_one() -> None:
    assert number_of(" 1,6 ", "Displacement") == number_of("1.6", "Displacement") == 1.6


def test_what_is_no_number_is_told_with_an_example_that_fits_the_field() -> None:
    with pytest.raises(BellmouthError, match=r'^Odometer: "far" is not a number\. Write it as 2'):
        number_of("far", "Odometer")
    with pytest.raises(BellmouthError, match=r"Write it as 60, or as 60 ± 1\.$"):
        number_of("wide", "Throttle bore", spread=True)


def test_a_count_may_be_left_out_and_is_over_nought() -> None:
    assert count_of("  ", "Seconds") is None
    assert count_of(" 120 ", "Seconds") == 120
    for text in ("0", "-3", "2.5", "many"):
        with pytest.raises(BellmouthError, match="is not a whole number over 0"):
            count_of(text, "Seconds")


def test_a_controller_is_two_hexadecimal_digits() -> None:
    assert controller_of("") is None
    assert [controller_of(text) for text in ("10", "e8", "0x10")] == [0x10, 0xE8, 0x10]
    for text in ("100", "-1", "engine"):
        with pytest.raises(BellmouthError, match="is no address of a controller"):
            controller_of(text)
