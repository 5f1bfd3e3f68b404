"""A whole car goes out and comes in exactly as it was, or not at all."""

import errno
import hashlib
import json
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from bellmouth.book import Book
from bellmouth.book.archive import digest_of
from bellmouth.errors import BookError
from tests.book.made import CAR, DEMO, NUMBER, a_full_car

Content = dict[str, bytes]


@pytest.fixture(scope="module")
def full(photo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    """A book with a full car, to be read only."""
    with Book(tmp_path_factory.mktemp("full")) as book:
        a_full_car(book, photo)
        yield book


@pytest.fixture(scope="module")
def archive(full: Book, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("archive") / "blue.zip"
    full.export("blue one", path, with_identification=True)
    return path.read_bytes()


@pytest.fixture
def exported(archive: bytes, tmp_path: Path) -> Path:
    """The full car's archive, to be spoilt."""
    path = tmp_path / "blue.zip"
    path.write_bytes(archive)
    return path


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    """A second book, empty whenever a test begins and ends."""
    with Book(tmp_path_factory.mktemp("other")) as book:
        yield book
        assert book.check().problems == ()


def _content(path: Path) -> Content:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _write(path: Path, content: Content) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in content.items():
            archive.writestr(name, data)


def _sealed(content: Content) -> Content:
    """The content under a manifest that agrees with it, as a forger would make."""
    manifest = json.loads(content["manifest.json"])
    manifest["files"] = {
        name: {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
        for name, data in content.items()
        if name != "manifest.json"
    }
    manifest["sha256"] = digest_of(manifest)
    return {**content, "manifest.json": json.dumps(manifest).encode()}


def test_a_car_goes_round_byte_for_byte(
    exported: Path, full: Book, book: Book, tmp_path: Path
) -> None:
    book.import_(exported)
    assert book.history("blue one") == full.history("blue one")
    again = tmp_path / "again.zip"
    book.export("blue one", again, with_identification=True)
    assert again.read_bytes() == exported.read_bytes()
    assert book.check().problems == ()


def test_the_number_is_masked_wherever_it_stands(
    exported: Path, full: Book, other: Book, tmp_path: Path
) -> None:
    assert NUMBER.encode() in _content(exported)["car.json"]
    masked = tmp_path / "masked.zip"
    full.export("blue one", masked)
    text = b"".join(_content(masked).values())
    assert NUMBER.encode() not in text
    assert NUMBER.lower().encode() not in text
    assert b"papers of ABCDE6GH*********" in text
    other.import_(masked)
    again = tmp_path / "again.zip"
    other.export("blue one", again)
    assert _content(again)["car.json"] == _content(masked)["car.json"]
    other.change_car("blue one", kind="another")
    other.delete("blue one")


def test_an_archive_follows_the_published_schema(exported: Path, root: Path) -> None:
    schema = json.loads((root / "docs" / "archive.schema.json").read_text("utf-8"))
    content = _content(exported)
    for name in ("manifest", "car"):
        wanted = {**schema, "$ref": f"#/$defs/{name}"}
        document = json.loads(content[f"{name}.json"])
        jsonschema.validate(document, wanted)
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({**document, "more": 1}, wanted)


def test_the_car_is_not_imported_twice_or_over_another(exported: Path, other: Book) -> None:
    other.import_(exported)
    with pytest.raises(BookError, match=r"blue one: this car is in the book already; nothing was"):
        other.import_(exported)
    other.delete("blue one")
    other.add_car("blue one", CAR)
    with pytest.raises(BookError, match=r"another car of this book has that name. Give that one"):
        other.import_(exported)
    assert len(other.history("blue one").entries) == 1
    other.delete("blue one")


def test_an_export_does_not_replace_a_file(exported: Path, full: Book) -> None:
    with pytest.raises(BookError, match=r"blue.zip: is there already"):
        full.export("blue one", exported)
    full.export("blue one", exported, overwrite=True)


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.9, 0.999])
def test_an_archive_cut_short_is_refused(exported: Path, other: Book, share: float) -> None:
    whole = exported.read_bytes()
    exported.write_bytes(whole[: int(len(whole) * share)])
    _refused(other, exported, "it is no archive, was changed or cut short")


def test_a_changed_byte_anywhere_is_refused_or_does_not_matter(
    exported: Path, other: Book, full: Book
) -> None:
    whole = exported.read_bytes()
    for place in range(7, len(whole), len(whole) // 60):
        changed = bytearray(whole)
        changed[place] ^= 0x20
        exported.write_bytes(bytes(changed))
        try:
            other.import_(exported)
        except BookError as error:
            assert "nothing was imported" in str(error)  # noqa: PT017
            assert other.cars() == ()
        else:
            # A zip file has bytes that nobody reads, such as a time.
            assert other.history("blue one").entries == full.history("blue one").entries
            other.delete("blue one")
    assert other.check().problems == ()


# Where the directory of a zip file keeps what decides how a member is read (PKWARE, APPNOTE.TXT
# 4.3.12 and 4.3.16, from memory), counted from the directory's first byte and from the end record.
_FLAGS, _METHOD, _OFFSET = 8, 10, 42
_SIZE_OF_DIRECTORY = 12


@pytest.mark.parametrize(
    ("mark", "place", "changed"),
    [
        (b"PK\x05\x06", _SIZE_OF_DIRECTORY + 1, 0x20),  # members begin before the file does
        (b"PK\x05\x06", _SIZE_OF_DIRECTORY + 2, 0x01),
        (b"PK\x01\x02", _FLAGS, 0x01),  # a password is asked for
        (b"PK\x01\x02", _FLAGS, 0x20),  # a patch of another file
        (b"PK\x01\x02", _METHOD, 0x04),  # other methods of packing
        (b"PK\x01\x02", _METHOD, 0x06),
        (b"PK\x01\x02", _METHOD, 0x40),
        (b"PK\x01\x02", _OFFSET + 3, 0x40),  # a member far behind the end
    ],
)
def test_a_directory_that_lies_is_refused(
    exported: Path, other: Book, mark: bytes, place: int, changed: int
) -> None:
    raw = bytearray(exported.read_bytes())
    raw[raw.index(mark) + place] ^= changed
    exported.write_bytes(bytes(raw))
    _refused(other, exported, "it is no archive, was changed or cut short")


def test_a_disk_that_fails_is_not_the_archives_fault(
    exported: Path, other: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(*_: object) -> bytes:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(zipfile.ZipFile, "read", failing)
    with pytest.raises(BookError, match="disk is full") as found:
        other.import_(exported)
    assert "no archive" not in str(found.value)


def _swap_entries(car: dict[str, Any]) -> None:
    car["entries"].reverse()


def _point_forward(car: dict[str, Any]) -> None:
    car["entries"][3]["corrects"] = 9


def _point_at_a_note(car: dict[str, Any]) -> None:
    car["entries"][-1]["job"] = 9


def _unknown_key(car: dict[str, Any]) -> None:
    car["entries"][0]["colour"] = "blue"


def _climb_out(car: dict[str, Any]) -> None:
    car["entries"][2]["files"] = ["../../etc/passwd"]


def _no_car(car: dict[str, Any]) -> None:
    car["entries"] = []


def _bad_car(car: dict[str, Any]) -> None:
    car["entries"][0]["document"]["car"]["displacement_l"] = 99


def _text_for_a_number(car: dict[str, Any]) -> None:
    car["entries"][1]["distance_km"] = "far"


def _bad_day(car: dict[str, Any]) -> None:
    car["entries"][1]["on_date"] = "yesterday"


def _set(*path: str | int, to: object = None) -> Callable[[dict[str, Any]], None]:
    """A change of what stands at a place among the entries; None takes it away."""

    def change(car: dict[str, Any]) -> None:
        at: Any = car["entries"]
        for key in path[:-1]:
            at = at[key]
        if to is None:
            del at[path[-1]]
        else:
            at[path[-1]] = to

    return change


_ODD = [
    _set(0, "document", "car", to=[]),
    _set(0, "document", "kind", to="\ud800"),
    _set(0, "document", "keep_until", to="20310101"),
    _set(0, "software", to="\ud800"),
    _set(0, "made_at", to="2026-03-01T09:00:00"),
    _set(1, "distance_km", to=1e300),
    _set(2, "files", to=[[1]]),
    _set(2, "document", "seconds", to="long"),
    _set(2, "document", "idle_opening", "value", to=1e308),
    _set(2, "document", "idle_opening", "parameter"),
    _set(3, "document", "finding"),
    _set(3, "document", "finding", "causes", 0, "cause"),
    _set(3, "document", "finding", "causes", 0, "probability", to="x"),
    _set(3, "document", "finding", "causes", 0, "sizes", "deposit", to=[1]),
    _set(4, "document", "done", to=[7]),
    _set(9, "corrects", to=3),
    _set(10, "number", to=2**70),
]


@pytest.mark.parametrize(
    "change",
    [_swap_entries, _point_forward, _point_at_a_note, _unknown_key, _climb_out, _no_car, _bad_car,
     _text_for_a_number, _bad_day, *_ODD],
)  # fmt: skip
def test_a_history_that_no_book_wrote_is_refused(
    exported: Path, other: Book, change: Callable[[dict[str, Any]], None]
) -> None:
    content = _content(exported)
    car = json.loads(content["car.json"])
    change(car)
    content["car.json"] = json.dumps(car).encode()
    _write(exported, content)
    _refused(other, exported, "car.json was changed")
    _write(exported, _sealed(content))
    _refused(other, exported, "its history is not one that|its files are not those")


def test_a_manifest_that_lists_no_sizes_is_refused(exported: Path, other: Book) -> None:
    content = _sealed(_content(exported))
    manifest = json.loads(content["manifest.json"])
    manifest["files"]["car.json"] = 5
    manifest["sha256"] = digest_of(manifest)
    _write(exported, {**content, "manifest.json": json.dumps(manifest).encode()})
    _refused(other, exported, "its manifest was changed")


def test_a_short_number_is_masked_where_it_stands_by_itself(other: Book, tmp_path: Path) -> None:
    other.add_car("red one", CAR)
    kept = other.add_recording("red one", DEMO / "recording.csv").files[0]
    short = kept.partition("/")[2][1:4].upper()  # as a plate may be, and as it stands in a hash
    other.change_car("red one", identification=short)
    other.add("red one", "note", {"text": f"papers of {short}, key_{short}"})
    other.export("red one", tmp_path / "red.zip")
    other.delete("red one")
    other.import_(tmp_path / "red.zip")
    last = other.history("red one").entries[-1]
    assert last.document == {"text": "papers of ***, key_***"}
    assert other.check().problems == ()
    other.delete("red one")


def test_files_that_do_not_belong_are_refused(exported: Path, other: Book) -> None:
    content = _content(exported)
    _write(exported, {**content, "more.txt": b"x"})
    _refused(other, exported, "holds other files than its manifest lists")
    _write(exported, _sealed({**content, "../more.txt": b"x"}))
    _refused(other, exported, "holds a file that no car has")
    recording = next(name for name in content if name.endswith("parquet"))
    _write(exported, _sealed({**content, recording: b"another"}))
    _refused(other, exported, "is damaged: its content is not what its name says")
    _write(exported, {key: content[key] for key in content if key != recording})
    _refused(other, exported, "holds other files than its manifest lists")


def test_an_archive_of_a_newer_format_is_refused(exported: Path, other: Book) -> None:
    content = _content(exported)
    manifest = json.loads(content["manifest.json"]) | {"version": 2}
    _write(exported, {**content, "manifest.json": json.dumps(manifest).encode()})
    _refused(other, exported, r"was written by a newer Bellmouth \(format 2, this one knows 1\)")


@pytest.mark.parametrize("raw", [b"", b"PK", b"hello", b"{}"])
def test_what_is_no_archive_is_refused(tmp_path: Path, other: Book, raw: bytes) -> None:
    path = tmp_path / "x.zip"
    path.write_bytes(raw)
    _refused(other, path, "x.zip: it is no archive, was changed or cut short")


def _refused(book: Book, path: Path, sentence: str) -> None:
    with pytest.raises(BookError, match=sentence):
        book.import_(path)
    assert book.cars() == ()
    assert book.check().entries == 0
