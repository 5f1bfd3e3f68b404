"""Invented vehicle numbers are valid in form."""

import pytest

from bellmouth.practice.identity import check_digit, identity_of


# Widely printed examples of the check digit of 49 CFR 565.15 (quoted from memory).
@pytest.mark.parametrize("number", ["1M8GDM9AXKP042788", "11111111111111111"])
def test_check_digit_of_printed_examples(number: str) -> None:
    assert check_digit(number) == number[8]


@pytest.mark.parametrize("seed", [0, 1, 999_999, 1_000_003])
def test_invented_numbers_check_and_belong_to_nobody(seed: int) -> None:
    number = identity_of("engine", "C", seed).vehicle_number
    assert number is not None
    assert len(number) == 17
    assert number[8] == check_digit(number)
    assert number.startswith("00P")
    assert not set(number) & set("IOQ")


def test_the_two_controllers_are_told_apart() -> None:
    engine, gearbox = (identity_of(kind, "A", 4) for kind in ("engine", "gearbox"))
    assert gearbox.vehicle_number is None
    assert len(engine.calibration) <= 16
    assert len(engine.verification) == len(gearbox.verification) == 4
    assert engine.verification != gearbox.verification
    assert max(len(engine.name), len(gearbox.name)) <= 20
