"""The table of meanings holds trouble codes, each once, in words of our own."""

import csv
from importlib.resources import files

from bellmouth.bus.code_meanings import meaning
from bellmouth.j1979.codes import decode_code, encode_code
from bellmouth.practice.trouble import TESTS


def _rows() -> list[dict[str, str]]:
    text = (files("bellmouth.bus") / "code_meanings.csv").read_text("utf-8")
    return list(csv.DictReader(text.splitlines()))


def test_every_row_is_a_code_once_and_in_order() -> None:
    codes = [row["code"] for row in _rows()]
    assert codes == sorted(set(codes))
    assert [decode_code(encode_code(code)) for code in codes] == codes


def test_every_row_says_what_it_means_and_how_that_is_known() -> None:
    for row in _rows():
        assert row["meaning"], row
        assert row["evidence"] == "memory", row


def test_the_codes_of_the_practice_car_are_told() -> None:
    assert all(meaning(test.code) for test in TESTS)
    assert meaning("P1505") is None  # a maker's own
