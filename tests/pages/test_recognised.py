"""A sentence of the rooms below is known again by its shape and said in German."""

import time

import pytest

from bellmouth.pages.card_words import Words
from bellmouth.pages.recognised import recogniser

GERMAN = Words("de")


@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("trims of 3 open-loop stretches", "Korrekturen von 3 ungeregelten Abschnitten"),
        (
            "Almost certainly (97 %): air leaks in after the meter and the throttle, like a round "
            "hole of 2.1 mm (1.8 to 2.5); and the airflow reading is too low, 12 % below what is "
            "right (10 to 14 %).",
            "Fast sicher (97 %): hinter LMM und Drosselklappe tritt Luft ein, wie ein rundes Loch "
            "von 2,1 mm (1,8 bis 2,5); und der Luftstrom wird zu niedrig gemessen, 12 % unter dem "
            "richtigen Wert (10 bis 14 %).",
        ),
        (
            'The recording does not hold engine_speed; mark it as "idle".',
            'In der Aufzeichnung fehlt: engine_speed; mit der Marke "idle" vermerken.',
        ),
        (
            "Probably (52 %): the learned idle opening is out of date, 0.40 g/s (0.21 to 1.2) of "
            "air too much.",
            "Wahrscheinlich (52 %): die gelernte Leerlauföffnung ist veraltet, 0,40 g/s (0,21 bis "
            "1,2) Luft zu viel.",
        ),
        ("leak+meter high", "Leck+Luftmessung zu hoch"),
        ("leak, then leak of another size", "Leck, dann Leck in anderer Größe"),
        (
            "Lost on the way: 3 requests were not answered, 1 frame was damaged. None of it was "
            "recorded.",
            "Unterwegs verloren: 3 Anfragen blieben unbeantwortet, 1 Rahmen war beschädigt. Nichts "
            "davon wurde aufgezeichnet.",
        ),
        (
            "1.csv, 2.csv: No fuel trims: a leak shows only in airflow, pressure and throttle.",
            "1.csv, 2.csv: Keine Gemischkorrekturen: Ein Leck zeigt sich nur an Luftstrom, Druck "
            "und Drosselklappe.",
        ),
    ],
)
def test_a_sentence_is_said_whole(english: str, german: str) -> None:
    assert GERMAN.told(english) == german


@pytest.mark.parametrize(
    "name", ["Müller's old Golf", "engine_speed [rpm]", "idle and held 2.csv", "Qx-7", "§ 5 mm"]
)
def test_a_name_stays_what_it_is(name: str) -> None:
    assert name in GERMAN.told(f"{name}: is in the book already. Choose another name.")
    assert GERMAN.told(name) == name


def test_what_the_catalogue_lacks_is_counted() -> None:
    """So that a test can tell a name from a gap."""
    german = recogniser("de")
    assert german.unknown("trims of 3 open-loop stretches") == 0
    assert german.unknown("trims of 3 purple stretches") > 0


def test_english_in_metric_units_is_the_text_itself() -> None:
    text = "anything at all: 2.1 mm (1.8 to 2.5)"
    assert Words().told(text) is text


@pytest.mark.parametrize(
    "text",
    [
        "a leak, b: c idle; d (e held) " * 60,
        "(" * 500 + "idle, idle: idle; " * 20,
        "x" * 100_000,
        "1" * 60 + "x",
        "20261127 135338 " * 30 + "of an idle",
        "1.1 " * 200 + "y",
    ],
)
def test_a_text_that_is_made_to_be_slow_is_not(text: str) -> None:
    begun = time.process_time()
    GERMAN.told(text)
    assert time.process_time() - begun < 10.0
