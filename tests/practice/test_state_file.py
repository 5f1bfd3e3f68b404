"""What a practice car keeps from one run to the next."""

from pathlib import Path

import pytest

from bellmouth.errors import CarError
from bellmouth.j1979.messages import (
    TroubleCodes,
)
from bellmouth.practice.ignition import Key
from tests.practice.test_live_car import Stand


def test_learned_values_and_codes_outlive_the_program(tmp_path: Path) -> None:
    path = tmp_path / "car.json"
    stand = Stand(state_file=path).key(Key.ON)
    stand.one(4)
    stand.key(Key.OFF, 11.0)
    again = Stand(state_file=path).key(Key.ON)
    assert again.one(3) == TroubleCodes(3, ())  # type: ignore[arg-type]
    assert again.value("long_term_fuel_trim_bank_1") == 0.0
    assert Stand().car._body.kept() != again.car._body.kept()
    path.write_text(path.read_text("utf-8").replace('"car": "00P', '"car": "11P'), encoding="utf-8")
    with pytest.raises(CarError, match=r"^car\.json: kept by another practice car"):
        Stand(state_file=path)


def test_a_state_file_that_cannot_be_is_said_before_the_car_is_driven(tmp_path: Path) -> None:
    with pytest.raises(CarError) as caught:
        Stand(state_file=tmp_path / "nowhere" / "car.json")
    assert str(caught.value) == (
        f"{tmp_path}/nowhere/car.json: there is no folder {tmp_path}/nowhere. Choose another state "
        "file."
    )
    (tmp_path / "car.json").write_text("garbage", "utf-8")
    with pytest.raises(CarError, match=r"^car\.json: is not what a practice car kept \(no JSON\)"):
        Stand(state_file=tmp_path / "car.json")
    mark = Stand().car._body.mark
    (tmp_path / "car.json").write_text(f'{{"version": 1, "car": "{mark}"}}', "utf-8")
    with pytest.raises(CarError, match=r"^car\.json: is not what a practice car kept"):
        Stand(state_file=tmp_path / "car.json")


def test_a_car_whose_state_cannot_be_kept_drives_on_and_says_so_at_the_end(tmp_path: Path) -> None:
    folder = tmp_path / "gone"
    folder.mkdir()
    stand = Stand("healthy", None, state_file=folder / "kept.json").key(Key.ON)
    folder.rmdir()
    stand.key(Key.OFF, 12.0).key(Key.ON)
    assert stand.value("engine_speed") == 0.0
    with pytest.raises(CarError, match=r"kept\.json: cannot be written"):
        stand.car.close()
    folder.mkdir()
    stand.car.close()
    assert (folder / "kept.json").is_file()
