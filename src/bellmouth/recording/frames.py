"""Raw bus logs to frames: four open formats, and what of a damaged log can still be read."""

import io
import itertools
import logging
import re
import struct
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from bellmouth.errors import RecordingError

if TYPE_CHECKING:
    from can import Message

__all__ = ["Frame", "LogReading", "log_format", "read_frames"]

_CANDUMP = re.compile(rb"^\s*\(\d+(\.\d+)?\)\s+\S+\s+[0-9A-Fa-f]{3,8}#", re.MULTILINE)
_ASC = re.compile(rb"^\s*(base\s+(hex|dec)|date\s+\w|begin\s+triggerblock)", re.I | re.MULTILINE)
_TRC = re.compile(rb"^;\$(FILEVERSION|STARTTIME)|^;\s*Message\s+Number", re.MULTILINE)
_NO_FRAME = re.compile(r"\s*(;|//|end\s+triggerblock|$)", re.I)
_STAMP = re.compile(r"\s*\d+\.\d+(?=\s)")
_COUNTS_FROM_LINE_BEFORE = re.compile(r"\s*base\s+\w+\s+timestamps\s+relative", re.I)
_LOG_HEADER_BYTES = 144
# What the readers of python-can 4.6.1 raise on a line or an object that is not whole.
_DAMAGE = (ValueError, IndexError, KeyError, TypeError, OverflowError, struct.error, zlib.error)


@dataclass(frozen=True)
class Frame:
    """One frame as logged. ``time_s`` is the log's own clock. [s]"""

    time_s: float
    channel: str
    identifier: int
    extended: bool
    data: bytes


@dataclass
class LogReading:
    """What became of a log: ``damaged`` lines or objects left out, ``cut`` where its end is
    missing. Filled in while the frames are read."""

    format: str
    damaged: int = 0
    cut: bool = False
    notes: list[str] = field(default_factory=list)


def log_format(raw: bytes) -> str | None:
    """Which kind of bus log the bytes are: ``candump``, ``ASC``, ``BLF``, ``TRC``; None if none."""
    if raw[:4] == b"LOGG":
        return "BLF"
    head = raw[:65536]
    # A table of this project's own kind begins so; looking through its rows takes longer.
    if head.startswith(b"time ["):
        return None
    for name, pattern in (("candump", _CANDUMP), ("TRC", _TRC), ("ASC", _ASC)):
        if pattern.search(head):
            return name
    return None


def read_frames(raw: bytes, reading: LogReading, source: str) -> Iterator[Frame]:
    """Data frames of a log in its own order; damage is counted in ``reading`` and skipped.

    Raises
    ------
    RecordingError
        If the file's head is damaged, so that nothing of it can be read.
    """
    messages = _binary if reading.format == "BLF" else _text
    with _counting_warnings(reading):
        for message in messages(raw, reading, source):
            if message.is_error_frame or message.is_remote_frame or message.is_fd:
                continue
            # A line cut on an even digit gives data shorter than its length.
            if len(message.data) != message.dlc or message.dlc > 8:
                reading.damaged += 1
                continue
            yield Frame(
                message.timestamp,
                str(message.channel),
                message.arbitration_id,
                message.is_extended_id,
                bytes(message.data),
            )


def _text(raw: bytes, reading: LogReading, source: str) -> Iterator["Message"]:
    from can.io import ASCReader, CanutilsLogReader, TRCReader  # noqa: PLC0415 - heavy

    kinds: dict[str, Callable[..., Any]] = {
        "candump": CanutilsLogReader, "ASC": ASCReader, "TRC": TRCReader,
    }  # fmt: skip
    lines = raw.decode("utf-8", errors="replace").splitlines(keepends=True)
    if lines and not lines[-1].endswith(("\n", "\r")):
        # Whoever was cut off while writing left a line that may look whole and is not.
        reading.cut = _NO_FRAME.match(lines.pop()) is None
    header = list(itertools.takewhile(_is_header[reading.format], lines))
    rest: Iterator[str] = iter(lines[len(header) :])
    if reading.format == "ASC" and any(map(_COUNTS_FROM_LINE_BEFORE.match, header)):
        rest = _counted_from_the_start(rest)
    taken = _Lines(rest)
    while True:
        begun = taken.read
        # A reader that met a bad line is spent; the next one gets the header again. The one for
        # ASC swallows a line in its search for the header's end: an empty one.
        gap = ["\n"] if reading.format == "ASC" else []
        reader = kinds[reading.format](_Feed(itertools.chain(header, gap, taken)))
        try:
            yield from reader
        except NotImplementedError as error:
            raise RecordingError(f"{source}: a log of a version that cannot be read.") from error
        except _DAMAGE as error:
            if taken.read == begun:
                raise RecordingError(
                    f"{source}: the head of the {reading.format} log is damaged. Copy it again."
                ) from error
            reading.damaged += 1
            continue
        return


def _counted_from_the_start(lines: Iterator[str]) -> Iterator[str]:
    """An ASC log that counts from line to line, which python-can 4.6.1 does not look at, made
    one that counts from its start."""
    time_s = 0.0
    for line in lines:
        stamp = _STAMP.match(line)
        if stamp is not None:
            time_s += float(stamp[0])
            line = f"{time_s:.6f}{line[stamp.end() :]}"  # noqa: PLW2901 - the same line, later
        yield line


def _asc_header(line: str) -> bool:
    return _STAMP.match(line) is None


def _trc_header(line: str) -> bool:
    return line.startswith(";") or not line.strip()


_is_header: dict[str, Callable[[str], bool]] = {
    "candump": lambda line: not line.strip(),
    "ASC": _asc_header,
    "TRC": _trc_header,
}


class _Lines(Iterator[str]):
    """Lines, and how many were taken."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines = lines
        self.read = 0

    def __next__(self) -> str:
        line = next(self._lines)
        self.read += 1
        return line


class _Feed:
    """Lines as a file that python-can's readers take, whoever owns the lines."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines = lines

    def __iter__(self) -> Iterator[str]:
        return self._lines

    def close(self) -> None:
        """Nothing to let go of."""


def _binary(raw: bytes, reading: LogReading, source: str) -> Iterator["Message"]:
    from can.io import BLFReader  # noqa: PLC0415 - heavy
    from can.io.blf import BLFParseError  # noqa: PLC0415

    if len(raw) < _LOG_HEADER_BYTES:
        raise RecordingError(f"{source}: a BLF log cut short in its head. Copy it again.")
    told = int.from_bytes(raw[16:24], "little")
    reading.cut = told > len(raw)
    head = raw[: int.from_bytes(raw[4:8], "little")]
    at = len(head)
    while at >= 0:
        file = io.BytesIO(head + raw[at:])
        try:
            yield from BLFReader(file)
        except (BLFParseError, *_DAMAGE):
            reading.damaged += 1
            # On from the next object that begins after the one that could not be read.
            at = raw.find(b"LOBJ", at + max(file.tell() - len(head), 4))
            continue
        return


@contextmanager
def _counting_warnings(reading: LogReading) -> Iterator[None]:
    """Count what python-can's readers only log, and keep it off the user's screen."""

    class Counter(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            reading.damaged += record.levelno >= logging.WARNING

    logger, counter = logging.getLogger("can.io"), Counter()
    propagates = logger.propagate
    logger.addHandler(counter)
    logger.propagate = False
    try:
        yield
    finally:
        logger.removeHandler(counter)
        logger.propagate = propagates
