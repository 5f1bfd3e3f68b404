"""Cut a stretch of running engine into pieces of constant operating point.

Least squares with a penalty per piece (optimal partitioning: Jackson et al., IEEE Signal
Processing Letters 12 (2005) 105-108; cited from memory), on the signals of the grid in units of
their tolerance.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from bellmouth.recording.grid import Bools, Grid, runs
from bellmouth.recording.medians import medians
from bellmouth.recording.series import Floats

__all__ = ["Plateau", "plateaus"]

# What a further piece must gain in summed squares of tolerances.
PENALTY = 25.0
SHORTEST = 3
LONGEST = 150
# A piece is used from this many seconds on, its ends cut off.
SHORTEST_CORE = 7
# Pieces closer than this in all signals are one operating point.
SAME = 2.2


@dataclass(frozen=True)
class Plateau:
    """Grid cells ``first`` up to ``stop`` (exclusive) at one operating point.

    ``level`` is the mean of each signal, in its own tolerances.
    """

    first: int
    stop: int
    level: Floats


def plateaus(grid: Grid) -> list[Plateau]:
    """The pieces of the running engine that hold still, in order of time."""
    if not grid.running.any():
        return []
    every = np.stack([s.value for s in grid.signals])
    noise = _tolerances(every[:, grid.running], np.array([s.scale for s in grid.signals]))
    scaled = every / noise[:, None]
    weight = np.sqrt([[s.weight] for s in grid.signals])
    found: list[Plateau] = []
    for first, stop in runs(grid.running):
        edges = _partition(weight * scaled[:, first:stop])
        pieces = _merge(scaled[:, first:stop], edges)
        for start, end in pieces:
            core = _core(scaled[:, first + start : first + end])
            if core is not None:
                low, high = first + start + core[0], first + start + core[1]
                found.append(Plateau(low, high, _means(scaled[:, low:high])))
    return found


def _tolerances(values: Floats, scale: Floats) -> Floats:
    """Each signal's tolerance, raised to its usual scatter within eight cells (a hunting idle)."""
    width = 8
    signals, size = values.shape
    if size < 2 * width:
        return scale
    values = values - _means(values)[:, None]
    sums = np.zeros((2, signals, size + 1))
    np.cumsum(values, axis=1, out=sums[0, :, 1:])
    np.cumsum(values * values, axis=1, out=sums[1, :, 1:])
    mean, square = (sums[:, :, width:] - sums[:, :, :-width]) / width
    spread = np.maximum(square - mean * mean, 0.0)
    return np.clip(np.hypot(scale, np.sqrt(medians(spread))), scale, 6 * scale)


def _partition(scaled: Floats) -> list[int]:
    """Edges of the pieces with the least sum of squares plus penalty."""
    size = scaled.shape[1]
    if size < 2 * SHORTEST:
        return [0, size]
    cost = _costs(scaled)
    longest = cost.shape[1]
    last = longest - SHORTEST + 1
    cost = cost[:, :last]
    # The least up to each cell, with as many in front as the longest piece that began too early.
    best = np.full(longest + size + 1, np.inf)
    best[longest] = -PENALTY
    back = [0] * (size + 1)
    for end, by_start in enumerate(cost[SHORTEST:], SHORTEST):
        total = best[end : end + last] + by_start
        at = int(total.argmin())
        best[longest + end] = total[at] + PENALTY
        back[end] = end - longest + at
    edges = [size]
    while edges[-1] > 0:
        edges.append(back[edges[-1]])
    return edges[::-1]


def _costs(scaled: Floats) -> Floats:
    """Sum of squares about the mean of the piece that ends before ``end``, the longest first so
    that starts run upwards: [end, longest - length]. What would start too early means nothing."""
    scaled = scaled[scaled.max(axis=1) > scaled.min(axis=1)]  # what never moves costs nothing
    signals, size = scaled.shape
    longest = min(LONGEST, size)
    lengths = np.arange(longest, 0, -1, dtype=np.float64)
    centred = scaled - scaled.mean(axis=1, keepdims=True)
    two = np.concatenate([[0.0], np.cumsum((centred**2).sum(axis=0))])
    # Running sums, with zeros in front: where each piece starts is a window of them.
    sums = np.zeros((signals + 1, longest + size + 1))
    sums[:-1, longest + 1 :] = np.cumsum(centred, axis=1)
    sums[-1, longest:] = two
    starting = sliding_window_view(sums, longest, axis=1)[:, :-1]
    cost: Floats = two[:, None] - starting[-1]
    squares = np.zeros_like(cost)
    for row, start in zip(sums[:-1, longest:], starting[:-1], strict=True):
        apart = row[:, None] - start
        apart *= apart
        squares += apart
    squares /= lengths
    cost -= squares
    return cost


def _merge(scaled: Floats, edges: list[int]) -> list[tuple[int, int]]:
    """Join neighbours at the same operating point, closest first."""
    pieces = list(pairwise(edges))
    means = list((np.add.reduceat(scaled, edges[:-1], axis=1) / np.diff(edges)).T)
    while len(pieces) > 1:
        levels = np.array(means)
        apart = np.abs(levels[1:] - levels[:-1]).max(axis=1)
        at = int(apart.argmin())
        if apart[at] > SAME:
            break
        pieces[at] = (pieces[at][0], pieces[at + 1][1])
        means[at] = _means(scaled[:, pieces[at][0] : pieces[at][1]])
        del pieces[at + 1], means[at + 1]
    return pieces


def _means(rows: Floats) -> Floats:
    """Mean of each row; a recording asks for so many that the usual call is felt."""
    return np.asarray(np.add.reduce(rows, axis=1) / rows.shape[1])


def _core(piece: Floats) -> tuple[int, int] | None:
    """The piece without the ways in and out; None where it never holds still."""
    size = piece.shape[1]
    if size < SHORTEST_CORE:
        return None
    quarter = size // 5
    level = medians(piece[:, quarter : size - quarter])
    inside: Bools = np.logical_and.reduce(np.abs(piece - level[:, None]) <= 3.0)
    pairs = np.flatnonzero(inside[:-1] & inside[1:])
    if not pairs.size:
        return None
    first, stop = int(pairs[0]), int(pairs[-1]) + 2
    if stop - first < SHORTEST_CORE:
        return None
    if np.count_nonzero(inside[first:stop]) / (stop - first) < 0.7:
        return None
    return first, stop
