"""Rows of a CSV file: a fast road for plain numbers, a patient one that names the bad cell."""

import csv
import io
import itertools
import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl

from bellmouth.errors import RecordingError
from bellmouth.recording.csv_text import Text, read_text
from bellmouth.recording.header import Column, Header, read_header
from bellmouth.recording.rows import DAMAGED_SHARE, Rows, odd_cells
from bellmouth.recording.series import Floats
from bellmouth.recording.wall_clock import WallClock, is_time_of_day

__all__ = ["rows_of_csv"]

_EMPTY = frozenset({"", "-", "--", "n/a", "na", "null", "none", "#n/a", "nodata", "no data"})
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
# A byte that flipped makes these: control characters, and what stands for bytes that are no text.
_NO_TEXT = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ufffd]")
# One mistake in a row is somebody's, to be corrected; so many at once are damage.
_MISTYPED = 2
_TITLE = re.compile(r"[^\d\s][^\[\]()]*(\[[^\[\]]+\]|\([^()]+\))")
_CLOCK = re.compile(r"[\dTZ.,/+ -]*\d{1,2}:\d{2}([:.,].*)?")
_HEAD_BYTES = 8192
_NOT_FINITE = re.compile(r"[+-]?(nan|inf|infinity)", re.IGNORECASE)


def rows_of_csv(raw: bytes, mapping: Mapping[str, str], source: str) -> Rows:
    """Rows of a CSV file already in memory.

    Raises
    ------
    RecordingError
        Where it is not a table, a header is wrong or a cell is not a number.
    """
    text = read_text(raw, source)
    try:
        titles = next(csv.reader([text.header], delimiter=text.separator), [])
    except csv.Error as error:
        raise RecordingError(f"{source}, line {text.first_line}: {error}.") from error
    if len(titles) < 2 and "[" not in text.header:
        raise RecordingError(
            f"{source}, line {text.first_line}: not a table of comma-separated values. The first "
            'line names the columns, such as "time [s],engine_speed [rpm]".'
        )
    header = read_header(titles, mapping, source, text.first_line)
    by_clock = _by_clock(text, header.time)
    rows = _fast(text, header, len(titles), by_clock=by_clock)
    if rows is None:
        rows = _patient(text, header, titles, source, by_clock=by_clock)
    if not by_clock:
        return rows
    told = f'Column "{header.time.title}" holds times of day; they are counted from the first row.'
    return replace(rows, time=rows.time / header.time.factor, notes=(*rows.notes, told))


def _by_clock(text: Text, time: Column) -> bool:
    """Whether the first row that has a time has a time of day."""
    head = text.body[:_HEAD_BYTES].decode("utf-8", errors="ignore")
    for cells in csv.reader(io.StringIO(head, newline=""), delimiter=text.separator):
        cell = cells[time.index].strip() if time.index < len(cells) else ""
        if cell.lower() not in _EMPTY:
            return is_time_of_day(cell)
    return False


def _fast(text: Text, header: Header, width: int, *, by_clock: bool) -> Rows | None:
    """All cells as numbers at once, or None where any cell or row is out of the ordinary."""
    used = header.columns if by_clock else (header.time, *header.columns)
    schema: dict[str, pl.DataType] = {str(index): pl.String() for index in range(width)}
    schema |= {str(column.index): pl.Float64() for column in used}
    try:
        frame = pl.read_csv(
            text.body,
            has_header=False,
            schema=schema,
            columns=sorted({header.time.index, *(column.index for column in used)}),
            separator=text.separator,
        )
    except pl.exceptions.PolarsError:
        return None
    notes = list(text.notes)
    arrays = {}
    for column in used:
        series = frame[str(column.index)]
        array = series.to_numpy()
        # Beside empty cells (null) only a cell that says so is NaN here.
        odd = int(np.count_nonzero(~np.isfinite(array))) - series.null_count()
        if odd:
            array = np.where(np.isfinite(array), array, np.nan)
            notes.append(odd_cells(column.title, odd))
        arrays[column.name] = array
    if by_clock:
        clock = WallClock()
        read = [_moment(cell or "", clock) for cell in frame[str(header.time.index)]]
        if None in read:
            return None
        arrays["time"] = np.array(read, dtype=np.float64)
    time = arrays.pop("time")
    return Rows(header, time, arrays, _placer(text), tuple(notes))


def _patient(
    text: Text, header: Header, titles: Sequence[str], source: str, *, by_clock: bool
) -> Rows:
    """Cell by cell: decimal commas, words for *missing*, and the place of what is wrong."""
    used, width = (header.time, *header.columns), len(titles)
    clock = WallClock() if by_clock else None
    lists: dict[str, list[float]] = {column.name: [] for column in used}
    odd = dict.fromkeys(lists, 0)
    usual = None
    rows, damage, again = 0, _Damage(), _HeaderAgain(titles, header.time, source)
    for line, cells in _lines(text, source):
        if again.seen(line, cells):
            continue
        rows += 1
        # A separator at the end of every row is a habit; at the end of some it is a mistake.
        usual = max(len(cells), width) if usual is None else usual
        row = {column: cells[column.index] if column.index < len(cells) else "" for column in used}
        said = {column: _number(cell, text.separator != ",") for column, cell in row.items()}
        if clock is not None:
            said[header.time] = _moment(row[header.time], clock)
        wrong = [column for column, value in said.items() if value is None]
        crowded = len(cells) > usual or any(cell.strip() for cell in cells[width:])
        if crowded or wrong:
            told = (
                _bad_cell(source, line, wrong[0], row[wrong[0]])
                if wrong and not crowded
                else _crowded(source, line, len(cells), width, text.separator)
            )
            if len(wrong) + crowded < _MISTYPED and not any(map(_NO_TEXT.search, cells)):
                raise RecordingError(told)
            damage.add(line, told)
            continue
        for column, value in said.items():
            lists[column.name].append(value if value is not None else float("nan"))
            odd[column.name] += (
                value is not None
                and not np.isfinite(value)
                and _NOT_FINITE.fullmatch(row[column].strip()) is not None
            )
    damage.refuse_many(rows)
    arrays: dict[str, Floats] = {}
    for name, values in lists.items():
        array = np.array(values, dtype=np.float64)
        arrays[name] = np.where(np.isfinite(array), array, np.nan)
    notes = [*text.notes, *again.notes, *damage.notes]
    notes += [odd_cells(column.title, odd[column.name]) for column in used if odd[column.name]]
    time = arrays.pop("time")
    return Rows(header, time, arrays, _placer(text, again.lines + damage.lines), tuple(notes))


@dataclass
class _Damage:
    """Lines that are damaged: nobody types them."""

    lines: list[int] = field(default_factory=list)
    first: str = ""

    def add(self, line: int, told: str) -> None:
        """Another one, and what is wrong with it."""
        self.first = self.first or told
        self.lines.append(line)

    def refuse_many(self, rows: int) -> None:
        """Where many are, the table is not what it is taken for."""
        if len(self.lines) > DAMAGED_SHARE * rows:
            raise RecordingError(self.first)

    @property
    def notes(self) -> list[str]:
        """What was left out."""
        if not self.lines:
            return []
        if len(self.lines) == 1:
            return [f"Line {self.lines[0]} is damaged and was left out."]
        return [
            f"{len(self.lines)} damaged lines were left out, the first is line {self.lines[0]}."
        ]


@dataclass
class _HeaderAgain:
    """Lines that say the header once more: files that were joined, or a logger that began again."""

    titles: Sequence[str]
    time: Column
    source: str
    lines: list[int] = field(default_factory=list)

    def seen(self, line: int, cells: Sequence[str]) -> bool:
        """Whether this is one. Another table's is refused: its rows would be read under ours."""
        place = self.time.index
        if place >= len(cells) or _number(cells[place], decimal_comma=True) is not None:
            return False
        if sum(_TITLE.fullmatch(cell.strip()) is not None for cell in cells) < _MISTYPED:
            return False
        if [cell.strip() for cell in cells] != [title.strip() for title in self.titles]:
            raise RecordingError(
                f"{self.source}, line {line}: a second header, with other columns than the first. "
                "Split the file there: one table a file."
            )
        self.lines.append(line)
        return True

    @property
    def notes(self) -> list[str]:
        """What was passed over."""
        if not self.lines:
            return []
        if len(self.lines) == 1:
            return [f"The header stands again on line {self.lines[0]}; it was passed over."]
        return [
            f"The header stands again {len(self.lines)} times, first on line {self.lines[0]}; "
            "it was passed over."
        ]


def _crowded(source: str, line: int, cells: int, width: int, separator: str) -> str:
    return f"{source}, line {line}: {cells} cells where the header names {width} columns." + (
        " Write decimals with a point." if separator == "," else ""
    )


def _lines(text: Text, source: str) -> Iterator[tuple[int, list[str]]]:
    """Line numbers and cells of the rows that are not blank."""
    reader = csv.reader(
        io.StringIO(text.body.decode("utf-8"), newline=""), delimiter=text.separator
    )
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield text.first_line + reader.line_num, cells
    except csv.Error as error:
        line = text.first_line + reader.line_num
        raise RecordingError(f"{source}, line {line}: {error}.") from error


def _number(cell: str, decimal_comma: bool) -> float | None:
    """A cell's value, NaN where it is empty or not finite, None where it is not a number."""
    cell = cell.strip()
    if cell.lower() in _EMPTY or _NOT_FINITE.fullmatch(cell):
        return float("nan")
    if decimal_comma and cell.count(",") == 1 and "." not in cell:
        cell = cell.replace(",", ".")
    return float(cell) if _NUMBER.fullmatch(cell) else None


def _moment(cell: str, clock: WallClock) -> float | None:
    return float("nan") if cell.strip().lower() in _EMPTY else clock.seconds(cell)


def _bad_cell(source: str, line: int, column: Column, cell: str) -> str:
    shown = " ".join(cell.split())
    shown = shown if len(shown) <= 40 else shown[:37] + "..."
    if column.name == "time" and _CLOCK.fullmatch(shown):
        return (
            f'{source}, line {line}, column "{column.title}": "{shown}" is no time of day with its '
            "seconds, or not all rows have one. Write it as 12:05:31.250, or seconds from the "
            "start, in every row."
        )
    return (
        f'{source}, line {line}, column "{column.title}": "{shown}" is not a number. '
        "Correct the cell or leave it empty."
    )


def _placer(text: Text, left_out: Collection[int] = ()) -> Callable[[int], str]:
    """Row index to line number, found by reading again: only an error message needs it."""

    def place(row: int) -> str:
        lines = (line for line, _ in _lines(text, "") if line not in left_out)
        return f"line {next(itertools.islice(lines, row, None), text.first_line + row + 1)}"

    return place
