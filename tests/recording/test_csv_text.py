"""Tables as other programs and damaged disks leave them: what is read, and what is refused."""

from collections.abc import Callable
from pathlib import Path

import pytest

from bellmouth.errors import RecordingError
from bellmouth.recording import csv_text, read_recording
from tests.recording.test_readers import PLAIN, read, refuse


def _hurt(tmp_path: Path, spoil: Callable[[bytes], bytes]) -> Path:
    rows = [f"{0.1 * n:.1f},{800 + n % 7},{2.5 + n % 3}" for n in range(400)]
    text = "\n".join(["time [s],engine_speed [rpm],mass_air_flow [g/s]", *rows]) + "\n"
    file = tmp_path / "hurt.csv"
    file.write_bytes(spoil(text.encode()))
    return file


@pytest.mark.parametrize(
    ("there", "instead", "lost"),
    [
        (b"\n20.0,804,4.5\n", b"\n20.0,8o4,A.5\n", 1),  # two cells that are no numbers
        (b"\n20.0,804,4.5\n", b"\n20.0,804,4.5J", 2),  # the line's end
        (b"\n20.0,804,4.5\n", b"\n20.0,8\x014,4.5\n", 1),
        (b"\n20.0,804,4.5\n20.1,805,2.5\n", b"\n20.0" + bytes(20) + b"5\n", 2),  # a lost block
    ],
)
def test_a_damaged_line_is_left_out_and_said(
    tmp_path: Path, there: bytes, instead: bytes, lost: int
) -> None:
    def spoil(raw: bytes) -> bytes:
        assert there in raw
        return raw.replace(there, instead)

    recording = read_recording(_hurt(tmp_path, spoil))
    assert recording.notes == ("Line 202 is damaged and was left out.",)
    time_s = recording.series["engine_speed"].time_s
    assert time_s.size == 400 - lost
    assert 20.0 not in time_s
    assert time_s[-1] == pytest.approx(39.9)


def test_one_mistake_in_a_line_is_to_be_corrected(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match=r'line 202, column "engine_speed \[rpm\]": "8o4"'):
        read_recording(_hurt(tmp_path, lambda raw: raw.replace(b"20.0,804", b"20.0,8o4")))


def test_a_table_with_many_damaged_lines_is_none(tmp_path: Path) -> None:
    with pytest.raises(
        RecordingError, match=r'line 2, column "time \[s\]": "0.0x" is not a number'
    ):
        read_recording(_hurt(tmp_path, lambda raw: raw.replace(b".0,80", b".0x,8o")))


def test_a_header_that_stands_again_is_passed_over(tmp_path: Path) -> None:
    head, *rows = PLAIN.splitlines()
    twice = read(tmp_path, "\n".join([head, *rows[:2], head, *rows[2:]]) + "\n")
    once = read(tmp_path, PLAIN)
    assert twice.same_samples(once)
    assert "The header stands again on line 4; it was passed over." in twice.notes


def test_another_tables_header_is_refused(tmp_path: Path) -> None:
    head, *rows = PLAIN.splitlines()
    names = head.split(",")
    other = ",".join([names[0], *reversed(names[1:])])
    assert refuse(tmp_path, "\n".join([head, *rows, other, *rows])) == (
        f"idle.csv, line {len(rows) + 2}: a second header, with other columns than the first. "
        "Split the file there: one table a file."
    )


def test_lines_that_a_logger_says_of_itself_are_passed_over(tmp_path: Path) -> None:
    told = read(tmp_path, "# our logger, 2.0 L\n// adapter 3\n" + PLAIN)
    assert told.same_samples(read(tmp_path, PLAIN))


@pytest.mark.parametrize("codec", ["utf-16-le", "utf-16-be", "utf-32"])
def test_wide_letters_are_read_and_said(tmp_path: Path, codec: str) -> None:
    recording = read(tmp_path, PLAIN.encode(codec))
    assert recording.series["engine_speed"].value.tolist() == [702.5, 703.0]
    assert recording.notes == (f"The file was read as {codec[:6].upper()}.",)


@pytest.mark.parametrize(
    "text", ["sep=;\n" + PLAIN.replace(",", ";"), PLAIN.replace(",", "|")], ids=["sep", "bars"]
)
def test_a_spreadsheets_own_line_and_bars_are_understood(tmp_path: Path, text: str) -> None:
    assert read(tmp_path, text).series["engine_speed"].value.tolist() == [702.5, 703.0]


def test_a_table_turned_on_its_side_is_refused_at_once(tmp_path: Path) -> None:
    names = ",".join(f"x{number}" for number in range(6000))
    assert refuse(tmp_path, f"time [s],engine_speed [rpm],{names}\n0,700\n1,701\n") == (
        "idle.csv, line 1: 6002 columns, where a recording has a few dozen. Is the table turned "
        "on its side? Write one row a moment, one column a parameter."
    )


def test_milliseconds_that_are_called_seconds_are_refused(tmp_path: Path) -> None:
    rows = "".join(f"{500 * n},{700 + n % 3}\n" for n in range(60))
    assert refuse(tmp_path, "time [s],engine_speed [rpm]\n" + rows) == (
        'idle.csv, column "time [s]": a row every 500 s, where a recording has several a second. '
        "Is it in another unit, such as ms?"
    )


def test_no_name_and_no_end_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(RecordingError, match="cannot be read"):
        read_recording("")
    with pytest.raises(RecordingError, match=r"zero: cannot be read \(a device, not a file\)"):
        read_recording("/dev/zero")

    def endless(_: Path) -> bytes:
        raise MemoryError

    monkeypatch.setattr(csv_text, "bytes_of", endless)
    with pytest.raises(RecordingError, match=r"large: larger than this machine's memory"):
        read_recording("large")
