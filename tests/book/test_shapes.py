"""What an entry says is looked at before it is kept: it cannot be taken back."""

from pathlib import Path
from typing import Any

import pytest

from bellmouth.book import Book
from bellmouth.book.shapes import refuse_other_shape
from bellmouth.errors import BookError
from bellmouth.recording import read_recording
from tests.book.made import CAR, a_finding


@pytest.mark.parametrize(
    ("kind", "document", "sentence"),
    [
        ("finding", {"finding": {}}, "finding.finding.causes is nothing, and should be there"),
        ("finding", {"finding": [1]}, "finding.finding is [1], and should be a table"),
        ("work", {"done": "clean_plate"}, 'work.done is "clean_plate", and should be a list'),
        ("work", {"done": ["reseal", 7]}, "work.done[2] is 7, and should be text"),
        ("attempt", {"procedure": 5}, "attempt.procedure is 5, and should be text"),
        ("attempt", {"procedure": "p"}, "attempt.judgement is nothing, and should be there"),
        ("proof", {"proof": {"verdict": None}}, "proof.proof.verdict is None, and should be text"),
        ("photo", {"width": True}, "photo.width is True, and should be a whole number"),
        ("job", {"comeback_of": 2.5}, "job.comeback_of is 2.5, and should be a whole number"),
    ],
)
def test_another_shape_is_refused_with_its_place(
    local: Book, kind: str, document: dict[str, Any], sentence: str
) -> None:
    with pytest.raises(BookError) as error:
        refuse_other_shape(kind, document)
    assert str(error.value) == f"This is no document of the kind {kind}: {sentence}."
    local.add_car("blue one", CAR)
    if kind != "job":
        with pytest.raises(BookError, match="This is no document of the kind"):
            local.add("blue one", kind, document)
    assert len(local.history("blue one").entries) == 1


def test_a_size_may_be_open_and_what_nobody_reads_may_be_anything() -> None:
    document = a_finding(7.5, 1.5)
    document["finding"]["causes"][0]["sizes"]["deposit"]["high"] = None
    refuse_other_shape("finding", document | {"odd": [{"x": 1}]})
    refuse_other_shape("card", {"anything": [1, None]})
    refuse_other_shape("note", {"good": True, "recording": 3})


def test_a_clock_that_counts_from_1970_is_a_number_too(local: Book, tmp_path: Path) -> None:
    head = "time [s],engine_speed [rpm],mass_air_flow [g/s]"
    rows = [f"{1795800000 + n / 2},{700 + n % 7},{2.5 + n % 3 / 10}" for n in range(400)]
    file = tmp_path / "epoch.csv"
    file.write_text("\n".join([head, *rows]), "utf-8")
    local.add_car("blue one", CAR)
    entry = local.add_recording("blue one", read_recording(file))
    assert entry.document["begins_s"] == 1795800000.0
