"""The causes and the checks on the terminal: names as they are typed, words as they are read."""

import io

import pytest
from rich.console import Console

from bellmouth.finding.causes import CAUSES
from bellmouth.finding.check_table import CHECKS
from bellmouth.pages.card_words import ENGLISH, Units, Words
from bellmouth.pages.known_screen import print_causes, print_known_checks
from tests.english import METRIC, left_english


def _shown(what: str, speak: Words = ENGLISH, width: int = 80) -> str:
    file = io.StringIO()
    out = Console(file=file, width=width, highlight=False, markup=False)
    (print_causes if what == "causes" else print_known_checks)(out, speak)
    return file.getvalue()


@pytest.mark.parametrize("language", ["en", "de"])
def test_every_name_is_listed_as_it_is_typed(language: str) -> None:
    causes, checks = (_shown(what, Words(language)) for what in ("causes", "checks"))
    for cause in ("healthy", "unexplained", *CAUSES):
        assert cause in causes
    for name, check in CHECKS.items():
        assert f"--result {name}=OUTCOME" in checks
        for outcome in check.outcomes:
            assert outcome in checks


def test_other_languages_hear_what_a_name_means() -> None:
    assert "meter_low      the airflow reading is too low" in _shown("causes")
    german = " ".join(_shown("causes", Words("de"), 120).split())
    assert "meter_low Luftmessung zu niedrig: der Luftstrom wird zu niedrig gemessen" in german
    assert "smoke_test: about 25 minutes" in _shown("checks")
    assert "smoke_test (Rauchtest): etwa 25 Minuten" in _shown("checks", Words("de"))
    assert "no_change (keine Änderung)" in _shown("checks", Words("de"))


def test_units_are_the_readers() -> None:
    assert "3-7 kPa" in " ".join(_shown("checks").split())
    told = {what: _shown(what, Words("en", "us")) for what in ("causes", "checks")}
    assert "0.4-1.0 psi" in " ".join(told["checks"].split())
    assert "in²" in told["causes"]
    assert not METRIC.search(told["checks"])
    assert "mm" not in told["causes"]


@pytest.mark.parametrize("width", [60, 80])
@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("what", ["causes", "checks"])
def test_german_fits_and_is_german(what: str, units: Units, width: int) -> None:
    text = _shown(what, Words("de", units), width)
    assert max(map(len, text.splitlines())) <= width
    typed = {"leak", *(outcome for check in CHECKS.values() for outcome in check.outcomes)}
    assert left_english(text, typed) == set()
