"""What a point and a comma mean in the numbers of a table: decimals, or thousands.

``1.542`` is 1542 where the comma marks decimals and 1.542 where the point does. Cells that can be
read one way only tell it for their column, else for the file; where none does, nobody knows.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache

from bellmouth.errors import RecordingError
from bellmouth.recording.header import Column
from bellmouth.recording.names import table
from bellmouth.recording.screen import plausible_range

__all__ = ["EMPTY", "NOT_FINITE", "Marks", "is_number", "thousands_top"]

EMPTY = frozenset({"", "-", "--", "n/a", "na", "null", "none", "#n/a", "nodata", "no data"})
NOT_FINITE = re.compile(r"[+-]?(nan|inf|infinity)", re.IGNORECASE)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_COMMA = re.compile(r"[+-]?(\d+,\d*|,\d+)([eE][+-]?\d+)?", re.ASCII)
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2}(?P<mark>[.,])\d{3}", re.ASCII)
# Spaces that are narrow or do not break, and apostrophes, mark thousands and nothing else.
_GROUPED = re.compile(
    r"[+-]?[1-9]\d{0,2}(?P<group>[.,' \u00a0\u2009\u202f\u2019])\d{3}(?:(?P=group)\d{3})*"
    r"(?:(?P<mark>[.,])\d*)?",
    re.ASCII,
)
_OTHER = {".": ",", ",": "."}
# No engine shows so little of these that a number which may be in thousands could be none: 1 to
# 12 rpm, 1 to 2 hPa.
_NEVER_SO_LITTLE = frozenset(
    {"engine_speed", "intake_manifold_pressure", "barometric_pressure", "boost_pressure"}
)


def is_number(cell: str) -> bool:
    """Whether a cell holds a number, with whatever marks."""
    cell = cell.strip()
    return any(kind.fullmatch(cell) for kind in (_NUMBER, _COMMA, _GROUPED))


@lru_cache(maxsize=1000)
def thousands_top(name: str, factor: float, offset: float) -> float:
    """The most that a column of these can hold, in the unit that it is written in; no end for the
    time."""
    if name == "time":
        return float("inf")
    _, most = plausible_range(table()[name])
    return (most - offset) / factor


@dataclass
class _Seen:
    """What a column's cells tell: sure decimal marks, whole numbers, the first that may be either
    with its line, and the first one with thousands."""

    sure: set[str] = field(default_factory=set)
    whole: bool = False
    either: dict[str, tuple[int, str]] = field(default_factory=dict)


class Marks:
    """Decides for each column which mark its decimals have.

    Raises
    ------
    RecordingError
        Where a cell may be read two ways and no other cell tells which.
    """

    def __init__(
        self, columns: Iterable[Column], rows: Iterable[tuple[int, list[str]]], source: str
    ) -> None:
        self.notes: list[str] = []
        columns = tuple(columns)
        self._tops = {one.name: thousands_top(one.name, one.factor, one.offset) for one in columns}
        seen = [(column.index, self._tops[column.name], _Seen()) for column in columns]
        for line, cells in rows:
            for place, top, told in seen:
                if place < len(cells) and (cell := cells[place].strip()):
                    _look(cell, line, top, told)
        everywhere: set[str] = set().union(*(told.sure for _, _, told in seen))
        self._decimal = {
            column.name: self._decided(column, told, everywhere, source)
            for column, (_, _, told) in zip(columns, seen, strict=True)
        }

    def _decided(self, column: Column, told: _Seen, everywhere: set[str], source: str) -> str:
        """The decimal mark of a column's cells that may be read two ways."""
        if not told.either:
            return ""
        for marks in (told.sure, everywhere):
            if len(marks) == 1:
                mark = next(iter(marks))
                break
        else:
            mark = ""
        # Without a decimal of its own, a column that also counts below a thousand without a mark
        # looks like one with thousands; then a point elsewhere does not tell.
        doubt = told.whole or column.name in _NEVER_SO_LITTLE
        refused = not mark or (not told.sure and doubt and mark in told.either)
        if refused:
            line, cell = min(told.either.values())
            raise RecordingError(_either_way(source, line, column, cell))
        if (first := told.either.get(_OTHER[mark])) is not None:
            line, cell = first
            self.notes.append(
                f'Column "{column.title}": "{cell}" on line {line} and others like it were read as '
                f"thousands ({_plain(cell, mark)}), as decimals have a "
                f"{'comma' if mark == ',' else 'point'} in other cells."
            )
        return mark

    def value(self, column: str, cell: str) -> float | None:
        """A cell's value, NaN where it is empty or not finite, None where it is not a number."""
        cell = cell.strip()
        if not cell or cell.lower() in EMPTY or NOT_FINITE.fullmatch(cell):
            return float("nan")
        mark: str | None
        if _EITHER.fullmatch(cell):
            mark = _told_by_size(cell, self._tops[column]) or self._decimal[column]
        else:
            mark = _sure_mark(cell)
        if mark is None:
            return None
        plain = _plain(cell, mark)
        return float(plain) if _NUMBER.fullmatch(plain) else None


def _look(cell: str, line: int, top: float, told: _Seen) -> None:
    either = _EITHER.fullmatch(cell)
    mark = _told_by_size(cell, top) if either else _sure_mark(cell)
    if mark:
        told.sure.add(mark)
    elif either:
        told.either.setdefault(either["mark"], (line, cell))
    elif mark is not None:
        told.whole |= cell not in {"0", "-0", "+0"}


def _told_by_size(cell: str, top: float) -> str:
    """The mark of a cell that would be more than can be, were it in thousands; "" otherwise."""
    either = _EITHER.fullmatch(cell)
    if either is None or abs(float(_plain(cell, _OTHER[either["mark"]]))) <= top:
        return ""
    return either["mark"]


def _sure_mark(cell: str) -> str | None:
    """The decimal mark of a cell that is read one way only, "" where it shows none; None where it
    is no number."""
    if _NUMBER.fullmatch(cell):
        return "." if "." in cell else ""
    if _COMMA.fullmatch(cell):
        return ","
    found = _GROUPED.fullmatch(cell)
    if found is None or found["mark"] == found["group"]:
        return None
    if found["mark"]:
        return found["mark"]
    return _OTHER.get(found["group"], "")


def _plain(cell: str, mark: str) -> str:
    """A number as Python writes it: without marks of thousands, decimals with a point."""
    grouped = _GROUPED.fullmatch(cell)
    if grouped is not None and grouped["group"] != mark:
        cell = cell.replace(grouped["group"], "")
    return cell.replace(",", ".") if mark == "," else cell


def _either_way(source: str, line: int, column: Column, cell: str) -> str:
    thousands = re.sub(r"[.,]", "", cell)
    decimals = cell.replace(",", ".")
    return (
        f'{source}, line {line}, column "{column.title}": "{cell}" may be {thousands} or '
        f"{decimals}, and no other cell tells which. Write thousands without a mark."
    )
