"""ISO 14230: checksums and times of the K line, from memory (M): ``kline.csv``, ``timing.csv``."""

import pytest

from bellmouth.j1979 import iso14230
from bellmouth.j1979.iso14230 import TIMING, KeyBytes, Message
from tests.reference.reading import rows

FRAMES = rows("kline")
SECONDS = {row["what"]: float(row["seconds"]) for row in rows("timing")}
OLDER = "686AF10100"  # ISO 9141-2: only its checksum is ours


@pytest.mark.parametrize("row", FRAMES, ids=lambda row: row["message_without_checksum"])
def test_checksum(row: dict[str, str]) -> None:
    message = bytes.fromhex(row["message_without_checksum"])
    assert iso14230.checksum(message) == int(row["checksum"], 16)


MEANT = {
    "C133F181": Message(0x33, 0xF1, b"\x81", functional=True),
    "83F111C1EF8F": Message(0xF1, 0x11, b"\xc1\xef\x8f"),
    "C233F10100": Message(0x33, 0xF1, b"\x01\x00", functional=True),
    "C233F1010C": Message(0x33, 0xF1, b"\x01\x0c", functional=True),
}


def test_every_row_is_tested() -> None:
    assert {row["message_without_checksum"] for row in FRAMES} == {*MEANT, OLDER}


@pytest.mark.parametrize("text", MEANT)
def test_frames_both_ways(text: str) -> None:
    checksum = next(r["checksum"] for r in FRAMES if r["message_without_checksum"] == text)
    frame = bytes.fromhex(text + checksum)
    assert iso14230.decode(frame) == MEANT[text]
    assert iso14230.encode(MEANT[text]) == frame


def test_the_key_bytes_of_the_response_are_the_standard_s() -> None:
    assert KeyBytes(0xEF, 0x8F).is_iso_14230


@pytest.mark.parametrize(
    ("ours", "what"),
    [
        (TIMING.answer_least, "K line P2 min"),
        (TIMING.answer_most, "K line P2 max"),
        (TIMING.request_least, "K line P3 min"),
        (TIMING.request_most, "K line P3 max"),
        (TIMING.request_byte_gap, "K line P4 min"),
        (TIMING.byte_gap_most, "K line P1 max"),
        (TIMING.fast_low, "fast start low time"),
        (TIMING.fast_whole, "fast start whole wake-up pattern"),
        (TIMING.idle, "idle before wake-up"),
    ],
)
def test_times(ours: float, what: str) -> None:
    assert ours == SECONDS[what]
