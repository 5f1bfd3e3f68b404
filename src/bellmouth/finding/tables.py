"""What a table holds between its entries, linearly."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["between", "between_both", "places"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


def places(value: Floats, of: Floats) -> Floats:
    """Where values (n,) stand among rising ones (entries,): 1.5 is half way from the second to the
    third. What lies beyond either end stands at it."""
    return np.asarray(np.interp(value, of, np.arange(float(len(of)))))


def between(table: Floats, row: Floats) -> Floats:
    """A table (rows, ...) at places between its rows (n,), (n, ...)."""
    low, part = _split(row, len(table))
    part = part.reshape(-1, *[1] * (table.ndim - 1))
    return np.asarray((1.0 - part) * table[low] + part * table[low + 1])


def between_both(table: Floats, row: Floats, column: Floats) -> Floats:
    """A table (rows, columns) at places between its rows and its columns (n,), (n,)."""
    (i, down), (j, across) = _split(row, len(table)), _split(column, table.shape[1])
    upper, lower = ((1.0 - across) * table[k, j] + across * table[k, j + 1] for k in (i, i + 1))
    return np.asarray((1.0 - down) * upper + down * lower)


def _split(place: Floats, entries: int) -> tuple[Ints, Floats]:
    """The entry before each place, and how far on from there it stands."""
    low = np.minimum(place.astype(np.intp), entries - 2)
    return low, place - low
