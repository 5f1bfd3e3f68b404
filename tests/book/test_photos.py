"""A photo is kept without where, when and with what it was taken."""

import io
from pathlib import Path

import pytest
from PIL import Image, ImageOps

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


@pytest.mark.parametrize("held", range(10))
def test_a_picture_is_turned_as_it_was_held(held: int) -> None:
    picture = Image.linear_gradient("L").resize((12, 7)).convert("RGB")
    picture.putpixel((0, 0), (250, 0, 0))
    exif = Image.Exif()
    exif[0x0112] = held
    buffer = io.BytesIO()
    picture.save(buffer, "PNG", exif=exif)
    content, _, size = stripped(buffer.getvalue(), "x")
    with Image.open(buffer) as given, Image.open(io.BytesIO(content)) as kept:
        wanted = ImageOps.exif_transpose(given)
        assert (kept.tobytes(), size) == (wanted.tobytes(), wanted.size)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_a_changed_byte_is_a_picture_or_one_sentence(photo: Path, form: str) -> None:
    buffer = io.BytesIO()
    with Image.open(photo) as picture:
        picture.save(buffer, form, exif=picture.getexif())
    whole = buffer.getvalue()
    seen = set()
    for place in range(min(len(whole), 320)):
        raw = bytearray(whole)
        raw[place] ^= 0x01
        try:
            stripped(bytes(raw), "x.jpg")
        except BookError as error:
            assert str(error).startswith("x.jpg: is no picture")  # noqa: PT017
            seen.add("refused")
        else:
            seen.add("kept")
    assert seen == {"refused", "kept"}
