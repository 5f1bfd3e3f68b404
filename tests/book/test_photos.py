"""A photo is kept without where, when and with what it was taken."""

from pathlib import Path

import pytest
from PIL import Image

from bellmouth.book import Book
from bellmouth.book.photos import stripped
from bellmouth.errors import BookError
from tests.book.made import CAR

_MARKS = (b"Exif", b"MAKERMARK", b"COMMENTMARK", b"XMPMARK", b"http")


def test_the_place_and_everything_else_is_gone(local: Book, photo: Path) -> None:
    raw = photo.read_bytes()
    assert all(mark in raw for mark in _MARKS[:4])
    local.add_car("blue one", CAR)
    entry = local.add_photo("blue one", photo, text="before")
    kept = local.files.path(entry.files[0])
    assert not any(mark in kept.read_bytes() for mark in _MARKS)
    with Image.open(kept) as picture:
        assert dict(picture.getexif()) == {}
        assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        # It was taken on its side.
        assert picture.size == (60, 80) == (entry.document["width"], entry.document["height"])


@pytest.mark.parametrize("form", ["PNG", "WEBP"])
@pytest.mark.parametrize("mode", ["RGB", "RGBA", "L", "P"])
def test_other_kinds_of_picture(tmp_path: Path, form: str, mode: str) -> None:
    path = tmp_path / "x"
    exif = Image.Exif()
    exif[0x010F] = "MAKERMARK"
    Image.new("RGB", (12, 7), "red").convert(mode).save(path, form, exif=exif)
    assert b"MAKERMARK" in path.read_bytes()
    content, ending, size = stripped(path.read_bytes(), "x")
    assert b"MAKERMARK" not in content
    assert (ending, size) == (form.lower(), (12, 7))


@pytest.mark.parametrize("raw", [b"", b"hello", b"\xff\xd8\xff\xe0cut short", b"GIF89a"])
def test_what_is_no_picture_is_refused(local: Book, tmp_path: Path, raw: bytes) -> None:
    path = tmp_path / "x.jpg"
    path.write_bytes(raw)
    local.add_car("blue one", CAR)
    with pytest.raises(BookError, match=r"x.jpg: is no picture that can be read. Use a JPEG, PNG"):
        local.add_photo("blue one", path)
    assert len(local.history("blue one").entries) == 1
