"""Invented vehicle numbers are valid in form."""

from pathlib import Path

import pytest

from bellmouth import read_car
from bellmouth.practice.identity import check_digit, identity_of, number_of
from bellmouth.practice.live_case import car_toml, choose_case
from bellmouth.practice.mending import mended
from bellmouth.practice.population import Case


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


@pytest.mark.parametrize("variant", ["A", "B"])
def test_another_car_has_another_number_and_the_mended_one_keeps_its_own(variant: str) -> None:
    def number(case: Case) -> int:
        return number_of(case.variant, case.car)

    asked = [("healthy", None), ("leak", 2.5), ("leak", 1.2), ("deposit", 10.0)]
    cases = [
        choose_case(cause, size, seed, variant, None, 90.0)
        for seed in (1, 2)
        for cause, size in asked
    ]
    cars = {repr(case.car.row(0)): number(case) for case in cases}
    assert len(set(cars.values())) == len(cars) > 4
    assert len({number_of(other, cases[0].car) for other in "ABC"}) == 3
    leaking = cases[1]
    assert number(mended(leaking, ["reseal"])) == number(leaking)


def test_a_car_made_anew_from_its_own_file_keeps_its_number(tmp_path: Path) -> None:
    case = choose_case("leak", 2.5, 1, "A", None, 90.0)
    path = tmp_path / "car.toml"
    path.write_text(car_toml(case, "unknown"), "utf-8")
    owner = read_car(path)
    again = choose_case("leak", 2.5, 1, "A", owner, 90.0)
    number = number_of("A", case.car)
    assert number_of("A", again.car) == number
    assert owner.name == f"practice A1-{number % 10_000:04d}"
    vin = identity_of("engine", "A", number).vehicle_number
    assert vin is not None
    assert vin.endswith(owner.name[-4:])


def test_the_two_controllers_are_told_apart() -> None:
    engine, gearbox = (identity_of(kind, "A", 4) for kind in ("engine", "gearbox"))
    assert gearbox.vehicle_number is None
    assert len(engine.calibration) <= 16
    assert len(engine.verification) == len(gearbox.verification) == 4
    assert engine.verification != gearbox.verification
    assert max(len(engine.name), len(gearbox.name)) <= 20
