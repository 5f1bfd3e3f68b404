"""Times of day in the place of seconds."""

from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.errors import RecordingError
from bellmouth.recording.readers import read_recording
from bellmouth.recording.wall_clock import WallClock, is_time_of_day

BEGIN = datetime(2026, 5, 4, 10, 0, 0)  # noqa: DTZ001 - a logger knows no zone
NOTE = 'Column "time [s]" holds times of day; they are counted from the first row.'


def _table(clock: list[str], title: str = "time [s]", mark: str = ",") -> str:
    rows = "".join(f"{cell}{mark}{700 + place % 3}\n" for place, cell in enumerate(clock))
    return f"{title}{mark}engine_speed [rpm]\n{rows}"


def _times(folder: Path, text: str) -> list[float]:
    path = folder / "idle.csv"
    path.write_text(text, encoding="utf-8")
    told = read_recording(path)
    assert NOTE in told.notes or "time [ms]" in text
    return [round(float(time), 6) for time in told.series["engine_speed"].time_s]


@given(
    begin=st.datetimes(datetime(1999, 1, 1), datetime(2050, 1, 1)),  # noqa: DTZ001
    steps=st.lists(st.integers(1, 11 * 3_600_000), min_size=1, max_size=20),
    way=st.sampled_from(
        ["%H:%M:%S.%f", "%Y-%m-%dT%H:%M:%S.%fZ", "%Y-%m-%d %H:%M:%S.%f", "%I:%M:%S.%f %p",
         "%d.%m.%Y %H:%M:%S.%f", "%m/%d/%Y %I:%M:%S.%f %p", "%d-%b-%Y %H:%M:%S.%f",
         "%d. %B %Y %H:%M:%S.%f", "%b %d, %Y %I:%M:%S.%f %p", "%a %b %d %H:%M:%S.%f GMT+01:00 %Y"]
    ),
)  # fmt: skip
def test_seconds_between_rows_are_those_of_the_clock(
    begin: datetime, steps: list[int], way: str
) -> None:
    """Through midnight and new years, held against the standard library's own calendar."""
    moments = [begin]
    for step in steps:
        moments.append(moments[-1] + timedelta(milliseconds=step))
    clock = WallClock()
    told = [clock.seconds(moment.strftime(way)) for moment in moments]
    for moment, seconds in zip(moments, told, strict=True):
        assert seconds is not None
        assert seconds - (told[0] or 0.0) == pytest.approx(
            (moment - begin).total_seconds(), abs=1e-5
        )


@pytest.mark.parametrize(
    "way", ["%d.%m.%Y %H:%M:%S", "%d.%m.%y %H:%M:%S", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%SZ"]
)
@pytest.mark.parametrize("days", [2, 3, 31, 366])
def test_days_without_a_row_count_where_the_date_can_be_read(way: str, days: int) -> None:
    begin = datetime(2027, 12, 5, 22, 0, 0)  # noqa: DTZ001
    end = begin + timedelta(days=days, hours=3)
    clock = WallClock()
    first, last = (clock.seconds(moment.strftime(way)) for moment in (begin, end))
    assert first is not None
    assert last is not None
    assert last - first == (end - begin).total_seconds()


@pytest.mark.parametrize("cell", ["", "700", "10:05", "1:2:3", "25:00:00", "10:61:00", "10:00:6x"])
def test_what_is_no_time_of_day(cell: str) -> None:
    assert not is_time_of_day(cell) or cell == "25:00:00"
    assert WallClock().seconds(cell) is None


def test_a_file_with_times_of_day_is_read(tmp_path: Path) -> None:
    clock = ["23:59:58.000", "23:59:59.500", "00:00:01.000", "00:00:02.000"]
    assert _times(tmp_path, _table(clock)) == [0.0, 1.5, 3.0, 4.0]
    assert _times(tmp_path, _table(clock, "time [ms]")) == [0.0, 1.5, 3.0, 4.0]
    commas = [cell.replace(".", ",") for cell in clock]
    assert _times(tmp_path, _table(commas, mark=";")) == [0.0, 1.5, 3.0, 4.0]


def test_a_row_without_its_time_is_left_out(tmp_path: Path) -> None:
    path = tmp_path / "idle.csv"
    path.write_text(_table(["10:00:00", "", "10:00:02", "10:00:03"]))
    told = read_recording(path)
    assert told.series["engine_speed"].time_s.tolist() == [0.0, 2.0, 3.0]
    assert "1 row was without a time left out." in told.notes


@pytest.mark.parametrize("cell", ["10:05", "700", "10:00:6x", "25:00:00"])
def test_a_cell_that_is_none_is_named(tmp_path: Path, cell: str) -> None:
    path = tmp_path / "idle.csv"
    path.write_text(_table(["10:00:00", "10:00:01", cell, "10:00:03"]))
    with pytest.raises(RecordingError, match='line 4, column "time \\[s\\]"'):
        read_recording(path)


@pytest.mark.parametrize("cell", ["10:05", "10:05:"])
def test_minutes_alone_ask_for_seconds(tmp_path: Path, cell: str) -> None:
    path = tmp_path / "idle.csv"
    path.write_text(_table([cell, cell]))
    with pytest.raises(RecordingError) as caught:
        read_recording(path)
    assert str(caught.value) == (
        f'idle.csv, line 2, column "time [s]": "{cell}" is no time of day with its seconds, or not '
        "all rows have one. Write it as 12:05:31.250, or seconds from the start, in every row."
    )


@pytest.mark.parametrize("title", ["time [s]", "time", "Timestamp"])
@pytest.mark.parametrize("kind", ["moment", "zone", "time", "duration", "text"])
def test_parquet_may_hold_them_too(tmp_path: Path, kind: str, title: str) -> None:
    """A type of its own tells the unit."""
    moments = pl.Series("time [s]", [BEGIN + timedelta(seconds=0.5 * n) for n in range(5)])
    column = {
        "moment": moments, "zone": moments.dt.replace_time_zone("UTC"), "time": moments.dt.time(),
        "duration": moments - BEGIN, "text": moments.dt.to_string("%d.%m.%Y %H:%M:%S%.f"),
    }[kind]  # fmt: skip
    path = tmp_path / "idle.parquet"
    pl.DataFrame([column, pl.Series("engine_speed [rpm]", [700.0 + n for n in range(5)])]).rename(
        {column.name: title}
    ).write_parquet(path)
    told = read_recording(path).series["engine_speed"].time_s.tolist()
    assert told == [0.0, 0.5, 1.0, 1.5, 2.0]


def test_units_may_stand_in_round_brackets(tmp_path: Path) -> None:
    path = tmp_path / "idle.csv"
    path.write_text("Time (ms),Engine Speed (rpm)\n0,700\n500,701\n1000,702\n")
    assert read_recording(path).series["engine_speed"].time_s.tolist() == [0.0, 0.5, 1.0]


def test_a_month_in_words_is_a_date(tmp_path: Path) -> None:
    cells = ["27-Nov-2026 23:59:59.500", "27-Nov-2026 23:59:59.900", "28-Nov-2026 00:00:00.300"]
    assert _times(tmp_path, _table(cells)) == [0.0, 0.4, 0.8]


def test_minutes_that_lost_their_hour_are_counted_on(tmp_path: Path) -> None:
    """As a spreadsheet leaves times of day that it showed so and wrote down again."""
    cells = ["58:59.5", "59:59.9", "00:00.4", "01:00.4"]
    assert _times(tmp_path, _table(cells)) == [0.0, 60.4, 60.9, 120.9]
    german = [cell.replace(".", ",") for cell in cells]
    assert _times(tmp_path, _table(german, mark=";")) == [0.0, 60.4, 60.9, 120.9]
    assert WallClock().seconds("12:61.0") is None
