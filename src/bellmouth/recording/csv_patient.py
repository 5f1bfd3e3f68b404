"""Rows of a CSV file cell by cell: marks of decimals and thousands, words for *missing*, remarks,
damage, and the place of what is wrong."""

import itertools
import re
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from math import isfinite

import numpy as np

from bellmouth.errors import RecordingError
from bellmouth.recording.csv_table import Table, lines_of, untitled_end
from bellmouth.recording.csv_text import Text
from bellmouth.recording.digit_marks import EMPTY, NOT_FINITE, Marks, is_number
from bellmouth.recording.header import Column
from bellmouth.recording.rows import DAMAGED_SHARE, Rows, odd_cells
from bellmouth.recording.series import Floats
from bellmouth.recording.wall_clock import WallClock

__all__ = ["moment", "patient_rows", "placer"]

# A byte that flipped makes these: control characters, and what stands for bytes that are no text.
_NO_TEXT = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ufffd]")
# One mistake in a row is somebody's, to be corrected; so many at once are damage.
_MISTYPED = 2
# A word, or a code such as P0171. Fewer than so many are somebody's slip, to be corrected.
_NO_DIGIT = re.compile(r"\W*[^\W\d_]")
_FEWEST_WORDS = 3
# What stands below a table is a few lines of sums and means, each named by a word.
_MOST_BELOW = 12
_WORD = re.compile(r"[^\w#]*[^\W\d_]{2,}")
# "#DIV/0!" and "#N/A" are what a spreadsheet writes in place of a number.
_REMARK = re.compile(r"\s*(?!#[A-Z]+(/[A-Z\d])?[!?]?\s*$)(#|//)")
_TITLE = re.compile(r"[^\d\s][^\[\]()]*(\[[^\[\]]+\]|\([^()]+\))")
_CLOCK = re.compile(r"[\dTZ.,/+ -]*\d{1,2}:\d{2}([:.,].*)?")


def patient_rows(table: Table, source: str, *, by_clock: bool) -> Rows:
    """The rows of a table of which any cell or row is out of the ordinary.

    Raises
    ------
    RecordingError
        Where a cell is not a number, or may be two; where a row has too many cells.
    """
    table = _without_words(table, source)
    text, header = table.text, table.header
    used = (header.time, *header.columns)
    numbers = header.columns if by_clock else used
    marks = Marks(numbers, _with_time(table, source), source)
    reader = _Reader(table, source, marks, WallClock() if by_clock else None)
    for line, cells in lines_of(text, source):
        reader.take(line, cells)
    reader.end()
    arrays: dict[str, Floats] = {}
    for name, values in reader.values.items():
        array = np.array(values, dtype=np.float64)
        arrays[name] = np.where(np.isfinite(array), array, np.nan)
    notes = [*text.notes, *marks.notes, *reader.notes]
    notes += [odd_cells(one.title, reader.odd[one.name]) for one in used if reader.odd[one.name]]
    time = arrays.pop("time")
    return Rows(header, time, arrays, placer(text, reader.left_out), tuple(notes))


def _without_words(table: Table, source: str) -> Table:
    """The table without columns in which only words stand, such as *closed loop*, as long as there
    are others: a state or a code is no reading, and no reason to refuse those beside it."""
    left = {column.index: column for column in table.header.columns}
    words = dict.fromkeys(left, 0)
    for _, cells in _with_time(table, source):
        for place in list(left):
            cell = cells[place].strip() if place < len(cells) else ""
            if (
                _NO_DIGIT.match(cell)
                and cell.lower() not in EMPTY
                and not NOT_FINITE.fullmatch(cell)
            ):
                words[place] += 1
            elif cell.lower() not in EMPTY:
                del left[place]
        if not left:
            return table
    told = [column for place, column in left.items() if words[place] >= _FEWEST_WORDS]
    kept = tuple(column for column in table.header.columns if column not in told)
    if not told or not kept:
        return table
    notes = tuple(
        f'Column "{column.title}" holds words, not numbers, and was left out.' for column in told
    )
    header = replace(table.header, columns=kept, notes=(*table.header.notes, *notes))
    return replace(table, header=header)


def _with_time(table: Table, source: str) -> Iterator[tuple[int, list[str]]]:
    """The rows whose time begins with no word: sums below a table may be written otherwise."""
    place = table.header.time.index
    for line, cells in lines_of(table.text, source):
        if place >= len(cells) or not _WORD.match(cells[place]):
            yield line, cells


# Line, all its cells, those that are used with the time first, and what they say.
_Row = tuple[int, Sequence[str], Sequence[str], Sequence[float | None]]


class _Reader:
    """Takes a table's rows one after another, and says what it left out."""

    def __init__(self, table: Table, source: str, marks: Marks, clock: WallClock | None) -> None:
        self._table, self._source, self._marks, self._clock = table, source, marks, clock
        self._used = (table.header.time, *table.header.columns)
        # A comma between decimals makes two cells of one, and they would be read as they fall;
        # other signs part nothing else, and a column without a title may hold what it will.
        commas = table.text.separator == ","
        self._width = untitled_end(table.titles) if commas else len(table.titles)
        self._usual: int | None = None
        self._rows = 0
        self._damage = _Damage()
        self._again = _HeaderAgain(table.titles, table.header.time, source)
        self._remarks: list[int] = []
        self._below: list[_Row] = []
        self.values: dict[str, list[float]] = {column.name: [] for column in self._used}
        self.odd = dict.fromkeys(self.values, 0)

    def take(self, line: int, cells: Sequence[str]) -> None:
        """One row that is not blank."""
        if _REMARK.match(cells[0]):
            self._remarks.append(line)
            return
        if self._again.seen(line, cells):
            return
        row = [cells[one.index] if one.index < len(cells) else "" for one in self._used]
        said = [self._value(one, cell) for one, cell in zip(self._used, row, strict=True)]
        if self._rows and said[0] is None and _WORD.match(row[0]):
            self._below.append((line, cells, row, said))
            return
        self._judge_below()
        self._judge(line, cells, row, said)

    def end(self) -> None:
        """After the last row: a few lines of words below a table are none of it."""
        if len(self._below) > _MOST_BELOW:
            self._judge_below()
        self._damage.refuse_many(self._rows)

    @property
    def left_out(self) -> list[int]:
        """The lines that are no rows."""
        below = [line for line, *_ in self._below]
        return [*self._again.lines, *self._damage.lines, *self._remarks, *below]

    @property
    def notes(self) -> list[str]:
        """What was passed over or left out."""
        found = [*self._again.notes, *self._damage.notes]
        if len(self._remarks) == 1:
            found.append(f"A remark on line {self._remarks[0]} was passed over.")
        elif self._remarks:
            found.append(
                f"{len(self._remarks)} remarks between the rows were passed over, the first is "
                f"line {self._remarks[0]}."
            )
        if self._below:
            line, _, row, _ = self._below[0]
            begins = _short(row[0])
            found.append(
                f'The last line, "{begins}", is no row of the table and was left out.'
                if len(self._below) == 1
                else f'{len(self._below)} lines below the table, from line {line} ("{begins}"), '
                "were left out."
            )
        return found

    def _value(self, column: Column, cell: str) -> float | None:
        if not cell:
            return float("nan")
        if self._clock is not None and column.name == "time":
            return moment(cell, self._clock)
        return self._marks.value(column.name, cell)

    def _judge_below(self) -> None:
        """Lines of words that rows follow are not the end of the table."""
        for held in self._below:
            self._judge(*held)
        self._below.clear()

    def _judge(
        self,
        line: int,
        cells: Sequence[str],
        row: Sequence[str],
        said: Sequence[float | None],
    ) -> None:
        """Keep a row, leave it out as damaged, or refuse it."""
        self._rows += 1
        # A separator at the end of every row is a habit; at the end of some it is a mistake.
        if self._usual is None:
            self._usual = max(len(cells), self._width)
        wrong = [place for place, value in enumerate(said) if value is None]
        crowded = len(cells) > self._usual or any(cell.strip() for cell in cells[self._width :])
        if crowded or wrong:
            told = (
                _bad_cell(self._source, line, self._used[wrong[0]], row[wrong[0]])
                if wrong and not crowded
                else _crowded(self._source, line, len(cells), self._width, self._table.text)
            )
            if len(wrong) + crowded < _MISTYPED and not any(map(_NO_TEXT.search, cells)):
                raise RecordingError(told)
            self._damage.add(line, told)
            return
        for column, cell, value in zip(self._used, row, said, strict=True):
            number = float("nan") if value is None else value
            self.values[column.name].append(number)
            if cell and not isfinite(number):
                self.odd[column.name] += NOT_FINITE.fullmatch(cell.strip()) is not None


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
        if place >= len(cells) or is_number(cells[place]):
            return False
        # A file that was put behind another may bring its byte-order mark along.
        said = [cell.strip("\ufeff \t") for cell in cells]
        if said != [title.strip() for title in self.titles]:
            if sum(_TITLE.fullmatch(cell) is not None for cell in said) < _MISTYPED:
                return False
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


def _crowded(source: str, line: int, cells: int, width: int, text: Text) -> str:
    return f"{source}, line {line}: {cells} cells where the header names {width} columns." + (
        " Write decimals with a point." if text.separator == "," else ""
    )


def moment(cell: str, clock: WallClock) -> float | None:
    """A time of day in seconds, NaN where the cell is empty, None where it is none. [s]"""
    return float("nan") if cell.strip().lower() in EMPTY else clock.seconds(cell)


def _short(cell: str) -> str:
    shown = " ".join(cell.split())
    return shown if len(shown) <= 40 else shown[:37] + "..."


def _bad_cell(source: str, line: int, column: Column, cell: str) -> str:
    shown = _short(cell)
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


def placer(text: Text, left_out: Collection[int] = ()) -> Callable[[int], str]:
    """Row index to line number, found by reading again: only an error message needs it."""

    def place(row: int) -> str:
        lines = (line for line, _ in lines_of(text, "") if line not in left_out)
        return f"line {next(itertools.islice(lines, row, None), text.first_line + row + 1)}"

    return place
