"""A proof on the terminal, in every language and units."""

import io

import pytest
from rich.console import Console

from bellmouth.finding.proof_result import Change, Need, Proof
from bellmouth.finding.result import Size
from bellmouth.pages.card_words import ENGLISH, Units, Words
from bellmouth.pages.proof_screen import print_proof
from tests.pages.test_proof_words import proof


def _proof() -> Proof:
    sizes = Size(1.9, 1.8, 2.0, "mm"), Size(0.0, 0.0, 0.35, "mm"), Size(-1.9, -2.0, -1.6, "mm")
    return proof(
        changes=(Change("leak", *sizes, present_before=0.99, present_after=0.02),),
        needs=(
            Need("a leak check, with smoke", "nothing says that none is there"),
            Need(
                "a look at the two files: is BEFORE really from before the work?",
                "given the wrong way round, a repair looks like damage",
            ),
        ),
        courses={"leak -> healthy": 0.9, "leak -> leak'": 0.1},
    )


def _shown(speak: Words = ENGLISH, width: int = 80) -> str:
    file = io.StringIO()
    out = Console(file=file, width=width, highlight=False, markup=False)
    print_proof(_proof(), "airflow", out, speak)
    return file.getvalue()


def test_it_speaks_english_and_metric_to_whoever_chooses_nothing() -> None:
    text = " ".join(_shown().split())
    assert "leak 1.9 mm (1.8 to 2.0) none (0.00 to 0.35 mm) -1.9 mm (-2.0 to -1.6)" in text
    assert "Then run prove again with --result smoke_test=none, or =seen." in text


def test_it_is_told_in_the_readers_language_and_units() -> None:
    text = " ".join(_shown(Words("de", "us"), 96).split())
    for part in (
        "Besser: Was nicht stimmte, ist weg",
        "besser 93 %, gleich 2 %, schlechter 5 %.",
        "Leck 0,075 in (0,071 bis 0,079) keine (0,000 bis 0,014 in) -0,075 in (-0,079 bis -0,063)",
        "ein Blick auf die beiden Dateien: Ist VORHER wirklich von vor der Arbeit?:",
        "Danach prove noch einmal ausführen mit --result smoke_test=none oder =seen.",
        "Leck, dann Leck in anderer Größe: 10 %",
    ):
        assert part in text


@pytest.mark.parametrize("width", [60, 80])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_german_fits_the_terminal(width: int, units: Units) -> None:
    text = _shown(Words("de", units), width)
    assert max(map(len, text.splitlines())) <= width
    assert "…" not in text
