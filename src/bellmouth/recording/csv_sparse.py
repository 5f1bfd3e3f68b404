"""A table of plain decimals, most cells empty: what a bus that is asked one thing a row leaves.

A general reader spends its time on the empty cells; here they cost a byte's look each.
"""

import numpy as np
from numpy.typing import NDArray

from bellmouth.recording.series import Floats

__all__ = ["sparse_cells"]

# So many of the bytes must part cells, or a general reader is quicker. Measured.
_LEAST_SHARE = 0.45
# Beyond what a processor keeps near, a general reader is as quick. Measured.
_MOST_BYTES = 1_000_000
# Integers of so many characters and their powers of ten are exact: one division rounds once.
_LONGEST = 15
_POWERS = 10.0 ** np.arange(_LONGEST)
_DIGITS = np.zeros(256)
_DIGITS[ord("0") : ord("9") + 1] = np.arange(10.0)


def sparse_cells(body: bytes, separator: str, width: int) -> Floats | None:
    """Cells of a table's body, (columns, rows), NaN where empty.

    None where it is mostly full, a row is ragged or any cell is more than a plain decimal such as
    ``-2.5``: all that is for a reader that knows more.
    """
    if not body or len(body) > _MOST_BYTES or b"\r" in body:
        return None
    raw = np.frombuffer(body, dtype=np.uint8)
    line_end = raw == ord("\n")
    separates = line_end | (raw == ord(separator))
    rows, ragged = divmod(np.count_nonzero(separates), width)
    if rows * width < _LEAST_SHARE * len(body) or ragged or not separates[-1]:
        return None
    ends = np.flatnonzero(separates)
    if not line_end[ends[width - 1 :: width]].all() or np.count_nonzero(line_end) != rows:
        return None
    length = ends.copy()
    length[1:] -= ends[:-1] + 1
    held = np.flatnonzero(length > 0)
    value = _decimals(raw[~separates], length[held])
    if value is None:
        return None
    cells = np.full(width * rows, np.nan)
    row, column = np.divmod(held, width)
    cells[column * rows + row] = value
    return cells.reshape(width, rows)


def _decimals(written: NDArray[np.uint8], length: NDArray[np.intp]) -> Floats | None:
    """Numbers that stand one after the other, each ``length`` characters long; None where any is
    no plain decimal."""
    if not length.size or length.max() > _LONGEST:
        return None
    stop = np.cumsum(length)
    number = np.repeat(np.arange(length.size), length)
    minus = written[stop - length] == ord("-")
    points = np.flatnonzero(written == ord("."))
    pointed = number[points]
    has_point = np.zeros(length.size, dtype=bool)
    has_point[pointed] = True
    digits = np.count_nonzero(written - np.uint8(ord("0")) < 10)
    others = np.count_nonzero(minus) + np.count_nonzero(has_point)
    if written.size != digits + others or (length - minus - has_point).min() < 1:
        return None
    place = stop[number] - np.arange(1, written.size + 1)
    # As if the point were a digit 0: it is taken out again by moving what stands before it.
    whole = np.bincount(number, _DIGITS[written] * _POWERS[place])
    scale = np.ones(length.size)
    scale[pointed] = _POWERS[place[points]]
    before = np.where(has_point, np.floor(whole / (10.0 * scale)), 0.0)
    value = (whole - 9.0 * scale * before) / scale
    return np.asarray(np.where(minus, -value, value))
