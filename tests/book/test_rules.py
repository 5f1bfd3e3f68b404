"""An odometer as people write it."""

import pytest

from bellmouth.book.rules import odometer


@pytest.mark.parametrize(
    "text", ["142000", "142.000", "142,000", "142 000", "142'000", " 142000 ", "142000.0"]
)
def test_thousands_are_thousands(text: str) -> None:
    assert odometer(text) == 142_000.0


def test_millions_and_a_tenth_are_read() -> None:
    assert odometer("1.142.000") == 1_142_000.0
    assert odometer("84300,5") == 84_300.5
    assert odometer("999") == 999.0


@pytest.mark.parametrize("text", ["", "fast", "12.34.56"])
def test_no_number_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="could not convert"):
        odometer(text)
