"""Whether a Parquet file's pages are as large as its directory says, asked before anything reads
them.

polars 2.1 takes what a page's header says at its word: one changed byte there ends in a panic, or
in a request for more memory than there is, which ends the whole program, a page's server too. Both
headers and directory are Thrift's compact protocol (Apache Thrift, thrift-compact-protocol.md;
field numbers from Apache Parquet, parquet.thrift; both from memory).
"""

from collections.abc import Mapping
from typing import Any

__all__ = ["pages_fit"]

_TAIL = 8  # the directory's length, and the format's name
_DEEPEST = 12
_LONGEST_NUMBER = 10  # bytes of a 64-bit number, seven bits each
# Room for a writer that counts its sizes otherwise than the standard has it. [byte]
_SPARE = 1 << 16
# Field numbers: of the file, a group of rows, a column in it, what is said of that column.
_ROWS, _GROUPS, _COLUMNS, _ABOUT = 3, 4, 1, 3
_VALUES, _UNPACKED, _PACKED, _AT, _WORDS_AT = 5, 6, 7, 9, 11
# Of a page's header: its kind, sizes, and the three kinds of page, each with its number of values
# first, and where the ways stand in which it is written.
_KIND, _PAGE_UNPACKED, _PAGE_PACKED, _DATA, _WORDS, _DATA_2 = 1, 2, 3, 5, 7, 8
_WAYS_AT = {_DATA: (0, (2, 3, 4)), _WORDS: (2, (2,)), _DATA_2: (3, (4,))}
_WAYS = frozenset({0, 2, 3, 4, 5, 6, 7, 8, 9})


def pages_fit(raw: bytes) -> bool:
    """Whether every page of every column lies in the file and holds no more than it can."""
    begin = len(raw) - _TAIL - int.from_bytes(raw[-_TAIL:-4], "little")
    if begin < 4:
        return False
    try:
        told = _Thrift(raw, begin, len(raw) - _TAIL).table()
        rows = sum(group[_ROWS] for group in told[_GROUPS])
        if told[_ROWS] != rows:
            return False
        return all(
            group[_ROWS] >= 0 and _column_fits(raw, begin, column[_ABOUT])
            for group in told[_GROUPS]
            for column in group[_COLUMNS]
        )
    except (KeyError, IndexError, TypeError, ValueError):
        return False


def _column_fits(raw: bytes, end: int, about: Mapping[int, Any]) -> bool:
    """Whether a column's pages, one behind the other, hold as many values as it has."""
    at, words = about[_AT], about.get(_WORDS_AT, 0)
    at = words if 0 < words < at else at
    last = at + about[_PACKED]
    left = about[_VALUES]
    if not 4 <= at <= last <= end or about[_UNPACKED] < 0:
        return False
    while at < last and left > 0:
        reader = _Thrift(raw, at, last)
        page = reader.table()
        size, unpacked = page[_PAGE_PACKED], page[_PAGE_UNPACKED]
        at = reader.at + size
        if size < 0 or at > last or not 0 <= unpacked <= about[_UNPACKED] + _SPARE:
            return False
        if not _is_known(page):
            return False
        data = page.get(_DATA) or page.get(_DATA_2)
        count = (data or page[_WORDS])[1]
        if not 0 <= count <= (left if data else unpacked):
            return False
        left -= count if data else 0
    return bool(left == 0)


def _is_known(page: Mapping[int, Any]) -> bool:
    """Whether a page is of a kind, and written in ways, that the format has."""
    for place, (kind, ways) in _WAYS_AT.items():
        if (told := page.get(place)) is not None:
            return page[_KIND] == kind and all(told[one] in _WAYS for one in ways)
    return False


class _Thrift:
    """A table in the compact protocol, by the numbers of its fields; text is passed over."""

    def __init__(self, raw: bytes, at: int, end: int) -> None:
        self._raw, self.at, self._end = raw, at, end

    def table(self, deep: int = 0) -> dict[int, Any]:
        """The table that begins here.

        Raises
        ------
        ValueError, IndexError
            If there is none.
        """
        if deep > _DEEPEST:
            raise ValueError(deep)
        found: dict[int, Any] = {}
        field = 0
        while head := self._byte():
            field = field + (head >> 4) if head >> 4 else self._signed()
            found[field] = self._value(head & 0x0F, deep, inside=False)
        return found

    def _value(self, kind: int, deep: int, *, inside: bool) -> Any:
        if kind in (1, 2):  # a flag: in a list it takes a byte, in a table its kind tells it
            return self._byte() == 1 if inside else kind == 1
        if kind in (3, 4, 5, 6):
            return self._byte() if kind == 3 else self._signed()
        if kind in (7, 8):  # a number with a fraction, or text
            return self._skip(8 if kind == 7 else self._number())
        if kind in (9, 10):
            return self._list(deep)
        if kind == 12:
            return self.table(deep + 1)
        raise ValueError(kind)  # a map is in no Parquet file

    def _list(self, deep: int) -> list[Any]:
        head = self._byte()
        count = head >> 4 if head >> 4 != 15 else self._number()
        if count > self._end - self.at:
            raise ValueError(count)
        return [self._value(head & 0x0F, deep + 1, inside=True) for _ in range(count)]

    def _byte(self) -> int:
        if self.at >= self._end:
            raise IndexError(self.at)
        self.at += 1
        return self._raw[self.at - 1]

    def _number(self) -> int:
        value = 0
        for place in range(_LONGEST_NUMBER):
            byte = self._byte()
            value |= (byte & 0x7F) << (7 * place)
            if byte < 0x80:
                return value
        raise ValueError(self.at)

    def _signed(self) -> int:
        value = self._number()
        return (value >> 1) ^ -(value & 1)

    def _skip(self, count: int) -> None:
        self.at += count
        if self.at > self._end:
            raise IndexError(self.at)
