"""The sentences of the rooms below, found in their sources: complete, and with their places."""

import re
from pathlib import Path

import pytest

from bellmouth.pages.card_catalogue import messages
from bellmouth.pages.sentences import parameter_shape, sentences, shapes


def test_a_shape_has_a_place_for_what_is_filled_in() -> None:
    source = """
def f(n, where):
    '''No docstring is said.'''
    raise ValueError(f"{where}: {n} rows are damaged" + (" or cut" if n else "") + ". Copy it.")
"""
    assert list(shapes(source)) == ["{0}: {1} rows are damaged{2}. Copy it.", "or cut"]


def test_braces_that_are_written_are_no_places() -> None:
    assert list(shapes("x = f'Write {{value = 60}} for {key}.'")) == [
        "Write {{value = 60}} for {0}."
    ]


def test_a_key_or_what_is_compared_with_is_not_said() -> None:
    assert list(shapes("x = told['engine off'] == 'not this one'")) == []


def test_every_sentence_is_in_the_catalogue() -> None:
    assert {text for _, text in sentences()} <= set(messages())


@pytest.mark.parametrize(
    "sentence",
    [
        "trims of {0} open-loop stretches", "The engine never got warm: record again at 70 degC "
        "coolant to be sure.", "another minute of warm idle in closed loop",
        "Smoke finds air that enters after the throttle whatever the trims do.",
        "Probably a new leak ({0}), {1}.", "no recording of this car was given",
    ],
)  # fmt: skip
def test_errors_findings_and_data_files_are_read(sentence: str) -> None:
    assert sentence in {text for _, text in sentences()}


def test_numbers_of_banks_and_sensors_are_places() -> None:
    name = "oxygen_sensor_voltage_bank_1_sensor_2"
    assert parameter_shape(name) == "oxygen sensor voltage bank {0} sensor {1}"


def test_every_side_of_a_page_follows_the_writing() -> None:
    """No style says left or right where the language runs the other way; paper is apart."""
    pages = Path(__file__).parents[2] / "src" / "bellmouth" / "pages"
    sided = re.compile(
        r"(?<![\w-])(left|right|(margin|padding|border)-(left|right)|text-align: ?(left|right)|"
        r"float: ?(left|right))(?=\s*:|;|\s*})"
    )
    paper = {"coach_card.html", "card.html", "card.css"}
    for path in (*(pages / "static").rglob("*.css"), *(pages / "templates").rglob("*.html")):
        if path.name not in paper and "vendor" not in path.parts:
            assert not sided.search(path.read_text("utf-8")), path.name
