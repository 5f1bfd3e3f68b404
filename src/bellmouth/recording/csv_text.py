"""Bytes of a file to text of a table: compression, encoding, line ends, separator."""

import codecs
import gzip
import re
import zlib
from dataclasses import dataclass
from pathlib import Path

from bellmouth.errors import RecordingError
from bellmouth.reading import bytes_of
from bellmouth.recording.rows import DAMAGED_SHARE

__all__ = ["SEPARATORS", "Text", "load", "read_text"]

SEPARATORS = ",;\t|"

# A spreadsheet's own first line, which only says how columns are parted.
_SEPARATOR_LINE = re.compile(rb'"?sep=[,;|\t]?"?', re.IGNORECASE)
# What a logger says of itself and the car before its table; a header has a unit in brackets.
_REMARK = re.compile(rb"\s*\"?(#|//)[^\[]*$")
_ZEROS = re.compile(rb"\0+")
_ONLY_WINDOWS = re.compile(rb"[\x80-\x9f]")
_HEAD_BYTES = 256


@dataclass(frozen=True)
class Text:
    """A table's header line, its body in UTF-8, and how both are written.

    ``first_line`` is the number of the line before the body, the header's, counted from 1.
    """

    header: str
    body: bytes
    separator: str
    first_line: int
    notes: tuple[str, ...]


def load(path: Path) -> bytes:
    """The file's bytes, gzip undone.

    Raises
    ------
    RecordingError
        Where the file is missing, unreadable, empty or a damaged gzip.
    """
    try:
        raw = bytes_of(path)
    except OSError as error:
        raise RecordingError(f"{path.name or path}: cannot be read ({error.strerror}).") from error
    except ValueError as error:
        raise RecordingError(f"{path.name!r}: not a file name.") from error
    except MemoryError:
        raise RecordingError(
            f"{path.name}: larger than this machine's memory. Is it a recording at all?"
        ) from None
    if raw[:2] == b"\x1f\x8b":
        try:
            raw = gzip.decompress(raw)
        except (OSError, EOFError, zlib.error) as error:
            raise RecordingError(
                f"{path.name}: a gzip file that is damaged or cut short. Copy it again."
            ) from error
    if not raw.strip():
        raise RecordingError(f"{path.name}: the file is empty.")
    return raw


def read_text(raw: bytes, source: str) -> Text:
    """Decode and split off the header.

    Raises
    ------
    RecordingError
        Where the bytes are no text.
    """
    raw, notes = _utf8(raw, source)
    if b"\n" not in raw:
        raw = raw.replace(b"\r", b"\n")
    skipped = 0
    while True:
        line, _, raw = raw.partition(b"\n")
        skipped += 1
        blank = not line.strip(b' \t\r,;|"') or _SEPARATOR_LINE.fullmatch(line.strip())
        if not raw or not (blank or _REMARK.match(line)):
            break
    header = line.decode("utf-8").rstrip("\r")
    separator = max(SEPARATORS, key=lambda mark: (header.count(mark), mark == ","))
    whole = _without_cut_row(raw, separator.encode(), header.count(separator))
    if len(whole) < len(raw):
        notes = (*notes, "The last row is cut short and was left out.")
    return Text(header, whole, separator, skipped, notes)


def _without_cut_row(body: bytes, separator: bytes, separators: int) -> bytes:
    """The body without a last row that has neither its end of line nor all its separators: whoever
    wrote it was stopped, and its last cell may be cut to another number."""
    end = body.rfind(b"\n") + 1
    tail = body[end:]
    return body[:end] if tail.strip() and tail.count(separator) < separators else body


def _utf8(raw: bytes, source: str) -> tuple[bytes, tuple[str, ...]]:
    """The text as UTF-8 without a byte-order mark, whatever it was written in."""
    codec = _wide(raw)
    if codec is not None:
        try:
            text = raw.decode(codec).removeprefix("\ufeff")
        except UnicodeError:
            raise RecordingError(_not_text(source)) from None
        return text.encode("utf-8"), (f"The file was read as {codec[:6].upper()}.",)
    # A machine that lost its power leaves zeros where the last rows were still to be written.
    raw = raw.removeprefix(b"\xef\xbb\xbf").rstrip(b"\0")
    if b"\0" in raw:
        raw = _without_zeros(raw, source)
    if raw.isascii():
        return raw, ()
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        # Every byte is a letter in Latin-1, so a file that is no text at all would pass too.
        controls = sum(byte < 32 and byte not in b"\t\r\n" for byte in raw[:4096])
        if controls > 4:
            raise RecordingError(_not_text(source)) from None
        return _western(raw)
    return raw, ()


def _western(raw: bytes) -> tuple[bytes, tuple[str, ...]]:
    """Text of one byte a letter: Windows-1252 has letters where Latin-1 has none."""
    if _ONLY_WINDOWS.search(raw):
        try:
            return raw.decode("cp1252").encode("utf-8"), ("The file was read as Windows-1252.",)
        except UnicodeDecodeError:
            pass
    return raw.decode("latin-1").encode("utf-8"), ("The file was read as Latin-1.",)


def _wide(raw: bytes) -> str | None:
    """UTF-16 or UTF-32 by its mark, or UTF-16 without one by the zeros between its letters."""
    marks = (
        (codecs.BOM_UTF32_LE, "utf-32"),
        (codecs.BOM_UTF32_BE, "utf-32"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    )
    for mark, codec in marks:
        if raw.startswith(mark):
            return codec
    head = raw[:_HEAD_BYTES]
    if len(head) > 20 and not any(head[1::2]) and all(head[::2]):
        return "utf-16-le"
    if len(head) > 20 and not any(head[::2]) and all(head[1::2]):
        return "utf-16-be"
    return None


def _without_zeros(raw: bytes, source: str) -> bytes:
    """A table with a few gaps of zeros in it, where a disk lost a block; each is one character."""
    gaps = len(_ZEROS.findall(raw))
    if b"\0" in raw[:_HEAD_BYTES] or gaps > DAMAGED_SHARE * raw.count(b"\n"):
        raise RecordingError(_not_text(source))
    return _ZEROS.sub(b"\x01", raw)


def _not_text(source: str) -> str:
    return f"{source}: a binary file, not a table. Give a CSV (also .csv.gz) or Parquet file."
