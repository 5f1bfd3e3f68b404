"""The card on paper: one side, whatever is done, in both languages, on both papers."""

import io
import os
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader

from bellmouth.car.description import Car, Known
from bellmouth.finding.result import CauseProbability, Finding, Size
from bellmouth.pages import card_pdf as sheet
from bellmouth.pages.card_catalogue import LANGUAGES
from bellmouth.pages.card_pdf import Paper, card_pdf, write_pdf
from bellmouth.pages.card_view import CardPage, card_page
from bellmouth.pages.card_words import Words
from bellmouth.work import WorkError, make_card
from tests.example_finding import example_finding
from tests.work.together import AIR_WORKS, TOGETHER

_SIZE_PT = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
_SOAK = os.environ.get("HYPOTHESIS_PROFILE") == "soak"
#: The fullest card, and the fullest with the fuel.
_FULLEST = (AIR_WORKS, ("reseal", "renew_gasket", "mend_fuel", "relearn"))
_PAPERS: tuple[Paper, ...] = ("a4", "letter")
# The fullest card in both languages on both papers, and the emptiest; `make soak` sets every one.
_CASES = [
    (works, language, paper)
    for works in TOGETHER
    for language in LANGUAGES
    for paper in _PAPERS
    if _SOAK or works in _FULLEST or (works, language, paper) == (("relearn",), "de", "letter")
]


def _fullest_car() -> Car:
    return Car(
        Known(2.5), "airflow", cylinders=6, banks=2, idle_rpm=Known(650.0),
        complaint="after a battery change", name="W" * 48,
    )  # fmt: skip


def _fullest_finding() -> Finding:
    """Everything that can be said at once: three causes with sizes, and fuel that leads."""
    sizes = {
        "leak": Size(2.12, 1.83, 2.51, "mm"),
        "fuel_low": Size(0.88, 0.85, 0.91, "ratio"),
        "deposit": Size(14.2, 11.1, 17.3, "mm2"),
    }
    entries = (
        CauseProbability("leak+fuel_low", 0.6, sizes),
        CauseProbability("deposit+fuel_low", 0.4, sizes),
    )
    present = {"fuel_low": 0.99, "leak": 0.6, "deposit": 0.4, "meter_low": 0.2}
    return replace(example_finding(), causes=entries, present=present)


def _page(works: tuple[str, ...], language: str, learning: tuple[str, ...] = ()) -> CardPage:
    card = make_card(
        _fullest_car(), _fullest_finding(), works, manual_section="M" * 40,
        torque="8 N m, then 90 degrees" if "renew_gasket" in works else None, learning=learning,
    )  # fmt: skip
    return card_page(card, Words(language))


def _read(pdf: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(pdf))


@pytest.mark.parametrize(("works", "language", "paper"), _CASES)
def test_the_card_is_one_page(
    works: tuple[str, ...], language: str, paper: Paper, monkeypatch: pytest.MonkeyPatch
) -> None:
    if works in _FULLEST and not _SOAK:  # the fullest card takes the smallest types anyway
        monkeypatch.setattr(sheet, "_SIZES_PT", sheet._SIZES_PT[-2:])
    page = _page(works, language)
    read = _read(card_pdf(page, paper))
    assert len(read.pages) == 1
    box = read.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(_SIZE_PT[paper], abs=0.5)
    # Lines break at spaces and hyphens, so words are compared without spaces.
    text = "".join(read.pages[0].extract_text().split())
    for name in ("sign_off", "tear_off", "common_practice"):
        assert "".join(page.labels[name].split()) in text
    for stage in page.stages:
        for step in stage.steps:
            assert "".join(step.say.split()) in text


def test_the_largest_type_that_fits_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[float] = []

    class Set:
        def __init__(self, size: float) -> None:
            self.size = size
            self.pages = [0] if size <= 7.0 else [0, 0]

        def write_pdf(self) -> bytes:
            return str(self.size).encode()

    def stub(_: str, __: Paper, size: float) -> Set:
        tried.append(size)
        return Set(size)

    monkeypatch.setattr(sheet, "_set", stub)
    for last in range(1, 9):
        sizes = tuple(float(size) for size in range(8, 8 - last, -1))
        monkeypatch.setattr(sheet, "_SIZES_PT", sizes)
        if min(sizes) <= 7.0:
            assert card_pdf(_page(("relearn",), "en")) == b"7.0"
    assert tried


def test_a_machine_that_cannot_set_pages_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(_: str) -> None:
        raise OSError("cannot load library 'pango'")

    monkeypatch.setattr(sheet, "import_module", missing)
    with pytest.raises(WorkError, match="the text library Pango is missing"):
        card_pdf(_page(("relearn",), "en"))


def test_what_does_not_fit_is_refused_and_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sheet, "_SIZES_PT", (5.5,))
    page = _page(("relearn",), "en", learning=("P5", "P7") * 8)
    with pytest.raises(WorkError, match=r"^The card does not fit on one page of A4 in type that"):
        write_pdf(tmp_path / "card.pdf", page)
    assert list(tmp_path.iterdir()) == []
