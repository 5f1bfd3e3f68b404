"""Numbers, units and phrases as each language writes them."""

import pytest

from bellmouth.finding.result import Size
from bellmouth.pages.card_words import Units, Words
from bellmouth.work.phrases import Phrase, Quantity


@pytest.mark.parametrize(
    ("language", "units", "quantity", "told"),
    [
        ("en", "metric", Quantity(12.4, "V"), "12.4 V"),
        ("de", "metric", Quantity(12.4, "V"), "12,4 V"),
        ("en", "metric", Quantity(2500, "rpm"), "2,500 rpm"),
        ("de", "metric", Quantity(2500, "rpm"), "2.500 1/min"),
        ("en", "metric", Quantity(70, "degC", 95), "70–95 °C"),
        ("en", "us", Quantity(70, "degC", 95), "158–203 °F"),
        ("de", "us", Quantity(70, "degC", 95), "158–203 °F"),
        ("en", "us", Quantity(3, "kPa/psi", 7), "0.4–1 psi"),
        ("en", "metric", Quantity(3, "kPa/psi", 7), "3–7 kPa"),
        ("en", "us", Quantity(34, "kPa"), "10 inHg"),
        ("en", "us", Quantity(100, "km"), "60 mi"),
        ("en", "metric", Quantity(100, "km"), "100 km"),
        ("en", "us", Quantity(10, "min"), "10 min"),
        ("en", "us", Quantity(1.6, "L"), "1.6 L"),
    ],
)
def test_quantities(language: str, units: Units, quantity: Quantity, told: str) -> None:
    assert Words(language, units).quantity(quantity).replace("\u00a0", " ") == told


@pytest.mark.parametrize(
    ("language", "units", "size", "told"),
    [
        ("en", "metric", Size(2.1, 1.8, 2.5, "mm"), "2.1 mm, 1.8 to 2.5"),
        ("de", "metric", Size(2.1, 1.8, 2.5, "mm"), "2,1 mm, 1,8 bis 2,5"),
        ("en", "us", Size(2.1, 1.8, 2.5, "mm"), "0.083 in, 0.071 to 0.098"),
        ("en", "metric", Size(0.88, 0.85, 0.91, "ratio"), "-12 %, -15 to -9"),
        ("de", "metric", Size(4.0, 2.0, 6.0, "mm2"), "4 mm², 2 bis 6"),
    ],
)
def test_sizes(language: str, units: Units, size: Size, told: str) -> None:
    assert Words(language, units).size(size).replace("\u00a0", " ") == told


@pytest.mark.parametrize(
    ("probability", "told"), [(0.0, "<1 %"), (0.5, "50 %"), (0.986, "99 %"), (1.0, ">99 %")]
)
def test_nobody_is_ever_quite_sure(probability: float, told: str) -> None:
    assert Words("en").percent(probability).replace("\u00a0", " ") == told


def test_a_phrase_is_filled_in_its_language() -> None:
    phrase = Phrase("{time} or more", {"time": Quantity(10, "min")})
    assert Words("de").say(phrase).replace("\u00a0", " ") == "mindestens 10 min"


def test_what_the_catalogue_does_not_hold_is_said_as_it_is() -> None:
    assert Words("de").text("My own procedure") == "My own procedure"
    assert Words("de").text("") == ""


def test_both_languages_are_written_from_the_left() -> None:
    assert {Words(language).direction for language in ("en", "de")} == {"ltr"}
