"""Photos in the book: the picture alone, without where, when and with what it was taken."""

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from bellmouth.book.entries import Entry
from bellmouth.book.loose import named_or_gone
from bellmouth.book.store import Store
from bellmouth.errors import BookError
from bellmouth.reading import bytes_of

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["add_photo", "stripped"]

_ENDINGS = {"JPEG": "jpg", "PNG": "png", "WEBP": "webp"}
_QUALITY = 92
#: A few kilobytes can unpack to more than a small machine has room for.
_MOST_POINTS = 64_000_000
# How the camera says that it was held (EXIF's orientation).
_HELD = 0x0112


def add_photo(
    store: Store,
    name: str,
    path: str | Path,
    *,
    text: str = "",
    job: int | None = None,
    corrects: int | None = None,
) -> Entry:
    """Keep a photo without its location and add an entry for it.

    Raises
    ------
    BookError
        If it is no JPEG, PNG or WebP picture.
    """
    path = Path(path)
    with store.told():
        content, ending, size = stripped(bytes_of(path), path.name)
        kept = store.files.keep("photos", content, ending)
    document = {"width": size[0], "height": size[1]} | ({"text": text} if text else {})
    with named_or_gone(store, kept):
        return store.add(name, "photo", document, files=[kept], job=job, corrects=corrects)


def stripped(raw: bytes, source: str) -> tuple[bytes, str, tuple[int, int]]:
    """A picture drawn anew from its points: content, ending, and (width, height).

    Nothing else of the file comes along: no position, no time, no camera, no small preview, no
    comment. It is turned the way the camera said it should be.
    """
    from PIL import Image  # noqa: PLC0415 - only photos pay

    with (
        _refusing_damage(source),
        Image.open(io.BytesIO(raw), formats=list(_ENDINGS)) as opened,
    ):
        if opened.width * opened.height > _MOST_POINTS:
            raise BookError(
                f"{source}: has more than {_MOST_POINTS // 10**6} million points. Make it smaller "
                "and send that."
            )
        ending, form = _ENDINGS[opened.format or ""], opened.format
        turned = _turned(opened)
        bare = turned.convert("RGB" if form == "JPEG" or turned.mode == "P" else turned.mode)
        clean = Image.frombytes(bare.mode, bare.size, bare.tobytes())
    buffer = io.BytesIO()
    clean.save(buffer, form, quality=_QUALITY)
    return buffer.getvalue(), ending, clean.size


@contextmanager
def _refusing_damage(source: str) -> Iterator[None]:
    """All that Pillow was seen to raise on a picture with a changed byte becomes one sentence."""
    from PIL import Image  # noqa: PLC0415 - as above

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # of what the camera said, not the picture
            yield
    except BookError:
        raise
    except (Image.DecompressionBombError, OSError, SyntaxError, ValueError, TypeError) as error:
        raise BookError(
            f"{source}: is no picture that can be read. Use a JPEG, PNG or WebP file."
        ) from error


def _turned(opened: "Image.Image") -> "Image.Image":
    """The picture as it was seen. Pillow's own way writes what the camera said anew, and fails
    where a byte of that has changed, which the picture itself need not suffer by."""
    from PIL import Image  # noqa: PLC0415 - as above

    way = Image.Transpose
    ways = {
        2: way.FLIP_LEFT_RIGHT, 3: way.ROTATE_180, 4: way.FLIP_TOP_BOTTOM, 5: way.TRANSPOSE,
        6: way.ROTATE_270, 7: way.TRANSVERSE, 8: way.ROTATE_90,
    }  # fmt: skip
    held = ways.get(opened.getexif().get(_HELD, 1))
    return opened if held is None else opened.transpose(held)
