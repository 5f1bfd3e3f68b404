"""Where in a text the table is: its names, perhaps a row of units below them, then its rows.

Nearly every file begins with its names and is done with the first look. Only where that one fails
lines before the names are looked for.
"""

import csv
import io
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from bellmouth.errors import RecordingError
from bellmouth.recording.csv_text import SEPARATORS, Text
from bellmouth.recording.digit_marks import EMPTY, is_number
from bellmouth.recording.header import Header, UnitsRow, claim, read_header
from bellmouth.recording.units import conversion
from bellmouth.recording.wall_clock import is_time_of_day

__all__ = [
    "Table",
    "holds_times_of_day",
    "lines_of",
    "table_of",
    "untitled_end",
    "with_units_below",
]

# What loggers and spreadsheets write above a table is shorter. Ours.
_MOST_BEFORE = 60
_HEAD_BYTES = 8192
_REMARK_SIGN = re.compile(r"\s*(#|//)\s*")
_CLOCK_UNIT = re.compile(r"[hHmMsS:.,fF]*:[hHmMsS:.,fF0]*")
_SHOWN = 40


@dataclass(frozen=True)
class Table:
    """A text whose names are read: ``text.body`` begins with the first row of values, and
    ``names_line`` is where the names stand."""

    text: Text
    titles: Sequence[str]
    header: Header
    names_line: int


def table_of(text: Text, mapping: Mapping[str, str], source: str) -> Table:
    """The table whose names stand in the first line, or in one further down.

    Raises
    ------
    RecordingError
        Where there is none, or what its names claim is wrong.
    """
    try:
        titles = _first_titles(text, source)
        header = read_header(titles, mapping, source, text.first_line)
    except RecordingError as error:
        found = _below(text, source, lambda line: _names_in(line, mapping), mapping)
        if found is None and mapping:
            # One of its names is misspelt; those that are there tell where the names stand.
            found = _below(text, source, lambda line: _mapped_in(line, mapping), mapping)
        if found is None:
            raise error from None
        return found
    return Table(text, titles, header, text.first_line)


def with_units_below(table: Table, mapping: Mapping[str, str], source: str) -> Table | None:
    """The table without the row of units that stands below its names; None where none does."""
    units, _ = _units_below(table.text, table.titles, mapping)
    if units is None:
        return None
    return _named(table.text, table.titles, mapping, source)


def holds_times_of_day(text: Text, place: int) -> bool:
    """Whether the first row that has a time has a time of day."""
    head = text.body[:_HEAD_BYTES].decode("utf-8", errors="ignore")
    try:
        for cells in csv.reader(io.StringIO(head, newline=""), delimiter=text.separator):
            cell = cells[place].strip() if place < len(cells) else ""
            if cell.lower() not in EMPTY:
                return is_time_of_day(cell)
    except csv.Error:  # the rows' reader names the place
        return False
    return False


def lines_of(text: Text, source: str) -> Iterator[tuple[int, list[str]]]:
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


def _first_titles(text: Text, source: str) -> list[str]:
    try:
        titles = next(csv.reader([text.header], delimiter=text.separator), [])
    except csv.Error as error:
        raise RecordingError(f"{source}, line {text.first_line}: {error}.") from error
    if len(titles) < 2 and "[" not in text.header:
        raise RecordingError(
            f"{source}, line {text.first_line}: not a table of comma-separated values. The first "
            'line names the columns, such as "time [s],engine_speed [rpm]".'
        )
    return titles


def _below(
    text: Text,
    source: str,
    names_in: Callable[[str], tuple[list[str], str] | None],
    mapping: Mapping[str, str],
) -> Table | None:
    """The table whose names are the first line that holds some."""
    line, at = text.header, 0
    before: list[tuple[int, str]] = []
    for number in range(text.first_line, text.first_line + _MOST_BEFORE):
        named = names_in(line)
        if named is not None:
            titles, separator = named
            _refuse_values(before, separator, number, source)
            notes = (*text.notes, *_passed_over(before))
            return _named(
                Text(line, text.body[at:], separator, number, notes), titles, mapping, source
            )
        if line.strip(' \t\r,;|"'):
            before.append((number, line))
        if at >= len(text.body):
            return None
        line, at = _next_line(text.body, at)
    return None


def _next_line(body: bytes, at: int) -> tuple[str, int]:
    """The line that begins there, and where the next one does."""
    end = body.find(b"\n", at)
    end = end if end >= 0 else len(body)
    return body[at:end].decode("utf-8").rstrip("\r"), end + 1


def _named(text: Text, titles: Sequence[str], mapping: Mapping[str, str], source: str) -> Table:
    names_line = text.first_line
    units, text = _units_below(text, titles, mapping)
    times = [n for n, title in enumerate(titles) if _name(title, mapping) == "time"]
    clocks = [place for place in times if holds_times_of_day(text, place)]
    header = read_header(titles, mapping, source, names_line, units=units, clocks=clocks)
    return Table(text, titles, header, names_line)


def _names_in(line: str, mapping: Mapping[str, str]) -> tuple[list[str], str] | None:
    """The titles of a line that names the time and a parameter, and what parts them."""
    line = _REMARK_SIGN.sub("", line, count=1) if _REMARK_SIGN.match(line) else line
    best: tuple[int, list[str], str] | None = None
    for separator in SEPARATORS:
        if separator not in line:
            continue
        try:
            titles = next(csv.reader([line], delimiter=separator), [])
        except csv.Error:
            continue
        names = {_name(title, mapping) for title in titles} - {None}
        if "time" in names and len(names) > 1 and (best is None or len(names) > best[0]):
            best = len(names), titles, separator
    return None if best is None else best[1:]


def _mapped_in(line: str, mapping: Mapping[str, str]) -> tuple[list[str], str] | None:
    """The titles of a line in which several are mapped, and what parts them."""
    for separator in SEPARATORS:
        titles = line.split(separator)
        if sum(title.strip(' "') in mapping for title in titles) > len(mapping) / 2:
            return [title.strip(' "') for title in titles], separator
    return None


def _name(title: str, mapping: Mapping[str, str]) -> str | None:
    try:
        found = claim(title, mapping, "")
    except RecordingError:  # mapped to what is no parameter; said where the header is read
        return None
    return found.name if found else None


def _refuse_values(
    before: Sequence[tuple[int, str]], separator: str, names_line: int, source: str
) -> None:
    """A table above the names would be lost without its reader knowing."""
    for number, line in before:
        cells = [cell for cell in line.split(separator) if cell.strip(' "')]
        if len(cells) > 1 and all(is_number(cell.strip(' "\r')) for cell in cells):
            raise RecordingError(
                f"{source}, line {number}: values above the line that names the columns "
                f"(line {names_line}). Put the names first, one table a file."
            )


def _passed_over(before: Sequence[tuple[int, str]]) -> tuple[str, ...]:
    told = [(number, line) for number, line in before if not _REMARK_SIGN.match(line)]
    if not told:
        return ()
    first = " ".join(told[0][1].split())
    first = first if len(first) <= _SHOWN else first[: _SHOWN - 3] + "..."
    if len(told) == 1:
        return (f'Line {told[0][0]} above the names was passed over: "{first}".',)
    return (f'{len(told)} lines above the names were passed over, the first: "{first}".',)


def _units_below(
    text: Text, titles: Sequence[str], mapping: Mapping[str, str]
) -> tuple[UnitsRow | None, Text]:
    """The row of units that stands first in the body, and the text without it."""
    at, line, shown = 0, text.first_line, ""
    while at < len(text.body) and not shown.strip(' \t\r,;|"'):
        shown, at = _next_line(text.body, at)
        line += 1
    try:
        cells = next(csv.reader([shown], delimiter=text.separator), [])
    except csv.Error:
        return None, text
    if not _are_units(cells, titles, mapping):
        return None, text
    return UnitsRow(cells, line), replace(text, body=text.body[at:], first_line=line)


def _are_units(cells: Sequence[str], titles: Sequence[str], mapping: Mapping[str, str]) -> bool:
    """Whether cells say units: none is a number or a time, one at least is a unit that its column
    may have and that is more than a sign for *nothing*."""
    known = 0
    for title, cell in zip(titles, cells, strict=False):
        unit = cell.strip(" []()")
        if is_time_of_day(unit) or (is_number(unit) and unit != "1"):
            return False
        try:
            found = claim(title, mapping, "")
        except RecordingError:
            return False
        if found is None or unit in {"", "-", "1"}:
            continue
        clock = found.name == "time" and _CLOCK_UNIT.fullmatch(unit)
        known += bool(clock) or conversion(unit, found.own) is not None
    return known > 0


def untitled_end(titles: Sequence[str]) -> int:
    """How many columns there are up to the last one that has a title."""
    return max((n + 1 for n, title in enumerate(titles) if title.strip()), default=0)
