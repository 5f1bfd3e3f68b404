"""A finding of the book can be made again, and says when it comes out otherwise."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from bellmouth import read_car
from bellmouth.book import Book
from bellmouth.book.alike import differences
from bellmouth.book.done import done_between
from bellmouth.book.entries import Entry
from bellmouth.book.judging import clean_recording, stands
from bellmouth.book.versions import model_version
from bellmouth.errors import BookError, FindingError
from bellmouth.pages.document import finding_document
from bellmouth.recording.export import write_recording
from bellmouth.recording.of_car import OfCar
from tests.book.made import CAR, DEMO
from tests.finding.worked import healthy, meter_reads_low


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> tuple[Book, Entry]:
    book = Book(tmp_path_factory.mktemp("judged"))
    book.add_car("blue one", read_car(DEMO / "car.toml"))
    book.open_job("blue one", complaint="rough idle")
    book.add_recording("blue one", DEMO / "recording.csv")
    found = book.judge("blue one", results=["smoke_test=seen"])
    return book, book.keep("blue one", found, finding_document(found.result))


def test_a_finding_is_kept_with_all_that_went_in(judged: tuple[Book, Entry]) -> None:
    book, entry = judged
    assert entry.model == model_version()
    assert len(entry.input_hash or "") == 64
    assert entry.document["recording"] == 3
    assert entry.document["complaint"] == "rough idle"
    assert entry.document["results"] == ["smoke_test=seen"]
    assert entry.files == book.history("blue one").entries[2].files
    assert entry.document["finding"]["causes"][0]["cause"] == "leak"


def test_it_comes_out_the_same_again(judged: tuple[Book, Entry]) -> None:
    (again,) = judged[0].recompute("blue one")
    assert (again.same, again.differences) == (True, ())
    assert again.kept_by == again.made_by


def test_a_kept_finding_that_does_not_come_out_is_named(judged: tuple[Book, Entry]) -> None:
    book, entry = judged
    document = json.loads(json.dumps(entry.document))
    document["finding"]["causes"][0]["probability"] -= 1e-3
    changed = book.add(
        "blue one", "finding", document, files=entry.files, input_hash=entry.input_hash,
        corrects=entry.number,
    )  # fmt: skip
    (again,) = book.recompute("blue one", changed.number)
    assert not again.same
    assert again.differences[0].startswith("causes[1].probability: 0.9")


def test_inputs_that_do_not_fit_their_hash_are_refused(judged: tuple[Book, Entry]) -> None:
    book, entry = judged
    document = {**entry.document, "complaint": "high idle"}
    odd = book.add("blue one", "finding", document, files=entry.files, input_hash=entry.input_hash)
    with pytest.raises(BookError, match=r"what went in is not what its hash says"):
        book.recompute("blue one", odd.number)
    with pytest.raises(BookError, match=r"Entry 2 of blue one is no finding or proof"):
        book.recompute("blue one", 2)


def test_a_recording_that_is_missing_costs_no_other_finding(tmp_path: Path) -> None:
    with Book(tmp_path / "book") as book:
        book.add_car("blue one", CAR)
        book.open_job("blue one")
        for name, seed in (("one", 3), ("two", 4)):
            write_recording(healthy(name, seed), tmp_path / f"{name}.csv")
        lost = book.add_recording("blue one", tmp_path / "one.csv")
        for last in (False, True):
            found = book.judge("blue one")
            kept = book.keep("blue one", found, finding_document(found.result))
            if not last:
                book.add_recording("blue one", tmp_path / "two.csv")
        next((tmp_path / "book").rglob(Path(lost.files[0]).name)).unlink()
        first, second = book.recompute("blue one")
        assert not first.same
        assert "missing" in first.cannot
        assert (second.entry.number, second.same, second.cannot) == (kept.number, True, "")
        with pytest.raises(BookError, match="missing"):
            book.recompute("blue one", first.entry.number)


def test_a_proof_needs_two_different_recordings(local: Book, tmp_path: Path) -> None:
    local.add_car("blue one", CAR)
    with pytest.raises(BookError, match=r"has no recording yet. Add one first"):
        local.judge("blue one")
    local.add_recording("blue one", DEMO / "recording.csv")
    with pytest.raises(BookError, match=r"a proof needs a recording before and one after"):
        local.judge_work("blue one")
    # The one that was named is not passed over for the newest two.
    with pytest.raises(BookError, match=r"^A proof is of two recordings, before and after: name"):
        local.judge_work("blue one", 2)
    with pytest.raises(BookError, match=r"^There is no entry 98"):
        local.judge_work("blue one", 2, 98)


def test_differences_are_found_and_rounding_is_not_one() -> None:
    kept = {"a": 1.0, "b": [1, 2], "c": {"d": "x"}, "e": None, "only kept": 1}
    assert (
        differences(kept, {"a": 1.0 + 1e-9, "b": (1, 2), "c": {"d": "x"}, "e": float("nan")}) == []
    )
    assert differences(kept, {"a": 1.1, "b": [1], "c": {"d": "y"}, "e": 2.0}) == [
        "a: 1 was kept, 1.1 made",
        "b: 2 were kept, 1 made",
        "c.d: 'x' was kept, 'y' made",
        "e: None was kept, 2 made",
    ]
    assert differences({"a": 1}, {"b": 1}) == ["document: has nothing in common with what was kept"]
    assert differences(True, 1) == [] != differences(True, 0)


def _entry(number: int, kind: str, job: int, **document: object) -> Entry:
    files = (f"recordings/{number}.parquet",) if kind == "recording" else ()
    return Entry(number, kind, "", document, job=job, files=files)


def test_the_car_s_own_clean_recording_is_the_reference() -> None:
    first = [
        _entry(1, "job", 1),
        _entry(2, "recording", 1),
        _entry(3, "work", 1, done=["clean_plate"]),
        _entry(4, "recording", 1),
    ]
    later = [_entry(6, "job", 6), _entry(7, "recording", 6)]
    assert clean_recording([*first, *later], later[-1]) == [4]
    # Before and after of one job are a proof's to compare.
    assert clean_recording(first, first[-1]) == []
    better = _entry(5, "proof", 1, proof={"verdict": "better"})
    worse = _entry(5, "proof", 1, proof={"verdict": "worse"})
    assert clean_recording([*first, better, *later], later[-1]) == [4]
    assert clean_recording([*first, worse, *later], later[-1]) == []
    never = [_entry(1, "job", 1), _entry(2, "recording", 1), *later]
    assert clean_recording(never, later[-1]) == []


def test_more_recordings_are_judged_together_and_come_out_the_same_again(tmp_path: Path) -> None:
    title, *lines = (DEMO / "recording.csv").read_text("utf-8").splitlines()
    later = tmp_path / "later.csv"  # slower, so that it is no piece of the other one
    slower = [f"{1.013 * float(t):.3f},{rest}" for t, rest in (one.split(",", 1) for one in lines)]
    later.write_text("\n".join([title, *slower]), "utf-8")
    with Book(tmp_path / "book") as book:
        book.add_car("blue one", read_car(DEMO / "car.toml"))
        book.open_job("blue one", complaint="rough idle")
        first = book.add_recording("blue one", DEMO / "recording.csv")
        second = book.add_recording("blue one", later)
        found = book.judge("blue one", first.number, also=[second.number])
        alone = book.judge("blue one", first.number)
        assert finding_document(found.result) != finding_document(alone.result)
        kept = book.keep("blue one", found, finding_document(found.result))
        assert kept.document["also"] == [second.number]
        assert len(kept.files) == 2
        (again,) = book.recompute("blue one")
        assert again.same
        assert stands(book, "blue one", kept)
        with pytest.raises(FindingError, match="is the same recording as"):
            book.judge("blue one", first.number, also=[first.number])


def test_a_part_of_the_clean_recording_is_judged_without_it(tmp_path: Path) -> None:
    """Sent again for a new job by mistake: it says nothing beside itself."""
    title, *lines = (DEMO / "recording.csv").read_text("utf-8").splitlines()
    part = tmp_path / "part.csv"
    part.write_text("\n".join([title, *lines[: 2 * len(lines) // 3]]), "utf-8")
    with Book(tmp_path / "book") as book:
        book.add_car("blue one", read_car(DEMO / "car.toml"))
        book.open_job("blue one")
        book.add("blue one", "work", {"done": ["clean_plate"]})
        clean = book.add_recording("blue one", DEMO / "recording.csv")
        book.open_job("blue one")
        again = book.add_recording("blue one", part)
        entries = book.history("blue one").entries
        assert clean_recording(entries, again) == [clean.number]
        assert book.judge("blue one", again.number).inputs["references"] == []


def test_what_was_done_between_two_recordings_is_what_the_book_says() -> None:
    first, last = _entry(1, "recording", 1), _entry(9, "recording", 1)

    def between(*entries: Entry) -> list[str]:
        return done_between([first, *entries, last], 1, 9)

    cleaned = _entry(2, "work", 1, done=["clean_plate"])
    met = _entry(3, "attempt", 1, procedure="mine", does="idle_air", judgement="met")
    assert between(cleaned, met) == ["clean_plate", "relearn"]
    assert between(met, _entry(4, "work", 1, done=["clean_plate"])) == ["clean_plate"]
    assert between(_entry(2, "work", 1, done=["nothing"]), met) == ["relearn"]
    for other in ({"judgement": "missed"}, {"does": "plate_closed"}, {"does": ""}):
        tried = _entry(3, "attempt", 1, **{**met.document, **other})
        assert between(cleaned, tried) == ["clean_plate"]
    # Written down twice it was not done twice.
    assert between(cleaned, _entry(4, "work", 1, done=["clean_plate"])) == ["clean_plate"]


def test_the_book_keeps_which_car_a_recording_is_of_and_proves_over_no_two(
    local: Book, tmp_path: Path
) -> None:
    made = {"a1f": meter_reads_low("before.csv"), "a20": healthy("after.csv")}
    local.add_car("blue one", CAR)
    local.open_job("blue one")
    for vehicle, recording in made.items():
        path = tmp_path / f"{vehicle}.parquet"
        write_recording(replace(recording, of_car=OfCar(vehicle, ("CAL-1",))), path)
        entry = local.add_recording("blue one", path)
        assert local.recording("blue one", entry.number).of_car == OfCar(vehicle, ("CAL-1",))
    with pytest.raises(FindingError, match=r"^Entry 4: is of another car than Entry 3,"):
        local.judge_work("blue one")
