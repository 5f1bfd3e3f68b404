"""A small table of plain decimal numbers from its bytes, all cells at once.

A recording polled one parameter after another is mostly empty cells: only those that hold something
are looked at. A table that is not rectangular, or a cell with anything in it but a number such as
``-1.5625``, is left to others.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bellmouth.recording.series import Floats

__all__ = ["plain_columns"]

# Beyond this a general reader costs less, and memory stays small.
_LARGEST_BYTES = 1_000_000
_NUMERIC = b"0123456789.-\n"
_NEWLINE, _MINUS, _POINT, _ZERO = b"\n-.0"


def plain_columns(
    body: bytes, separator: str, width: int, columns: Sequence[int]
) -> list[Floats] | None:
    """Columns of a table of ``width`` columns as numbers, NaN where a cell is empty.

    None where the table is large, or anything in it is out of the ordinary.
    """
    mark = separator.encode()
    body = body.replace(b"\r\n", b"\n")
    if not body or len(body) > _LARGEST_BYTES or body.translate(None, _NUMERIC + mark):
        return None
    body = body if body.endswith(b"\n") else body + b"\n"
    raw = np.frombuffer(body, dtype=np.uint8)
    is_end = (raw == mark[0]) | (raw == _NEWLINE)
    ends = np.flatnonzero(is_end)
    if len(ends) % width:
        return None
    lines = (raw[ends] == _NEWLINE).reshape(-1, width)
    if not lines[:, -1].all() or lines[:, :-1].any():
        return None
    filled = np.flatnonzero(np.diff(ends, prepend=-1) > 1)
    # Separators next to each other are one: what is left is number, separator, number.
    kept = np.empty(len(raw), dtype=np.bool_)
    kept[0] = not is_end[0]
    np.logical_not(is_end[1:] & is_end[:-1], out=kept[1:])
    packed, between = raw[kept], is_end[kept]
    if not _plain(packed, between):
        return None
    told = packed.tobytes().decode("ascii").replace("\n", separator)
    value = np.fromstring(told[:-1], sep=separator) if told else np.zeros(0)
    row, column = np.divmod(filled, width)
    table = np.full((width, len(lines)), np.nan)
    table[column, row] = value
    return [table[column] for column in columns]


def _plain(packed: NDArray[np.uint8], between: NDArray[np.bool_]) -> bool:
    """Whether digits, points and minus signs, one separator behind each cell, are all numbers."""
    minus, points = np.flatnonzero(packed == _MINUS), np.flatnonzero(packed == _POINT)
    if len(points) and not points[0]:
        return False
    # Neither stands last: a separator does.
    beside = (packed[minus + 1], packed[points - 1], packed[points + 1])
    cell = np.cumsum(between, dtype=np.int32)[points]
    return (
        bool(between[minus[minus > 0] - 1].all())
        and all(bool((one - np.uint8(_ZERO) <= 9).all()) for one in beside)
        and not bool((cell[1:] == cell[:-1]).any())
    )
