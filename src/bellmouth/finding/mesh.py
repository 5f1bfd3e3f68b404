"""Where sizes are looked at: a coarse grid to start from, then nodes round the best fit."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.effects import Effects
from bellmouth.recording.nans import told_or

__all__ = ["HEALTHY", "HypothesisTable", "Layout", "Mesh", "coarse", "log_of_ratios", "mesh_of"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_WIDTH = 4.5
_RARER = 0.1  # beyond what is common sizes are rarer by a factor of e for each so much; our choice
_HOPELESS_NATS = 8.0  # a pair this much worse than the best fit gets few nodes
#: How many sizes, and how many nodes along each.
Kinds = tuple[tuple[int, int], ...]
# Against 16 by 16 nodes a pair's 8 by 8 move probabilities by .001 in the mean, .02 at most. An odd
# number has a node in the middle: where nodes are too far apart an interval would shrink to it.
_FINE: Kinds = ((0, 1), (1, 25), (2, 8), (2, 3))  # the last for hopeless pairs
_COARSE: Kinds = ((0, 1), (1, 9), (2, 4))


class HypothesisTable(Protocol):
    """What is inferred: up to two sizes a hypothesis, uniform in their logarithm; the first is a
    healthy car. Causes of one recording, or courses from one recording to the next."""

    @property
    def low(self) -> Floats:
        """Lower ends of the sizes' coordinates, (hypotheses, 2)."""
        ...

    @property
    def high(self) -> Floats:
        """Upper ends, (hypotheses, 2)."""
        ...

    @property
    def count(self) -> int:
        """How many there are."""
        ...

    @property
    def dimensions(self) -> Ints:
        """How many sizes each has."""
        ...

    @property
    def acting(self) -> Ints | None:
        """The row of `effects.ROWS` that each size acts through, (hypotheses, 2); None where that
        differs between recordings."""
        ...

    @property
    def next_to(self) -> Ints | None:
        """What is left of a hypothesis of two sizes where the first, or the second, is nothing,
        (hypotheses, 2); None where no search begins there."""
        ...

    @property
    def worth(self) -> Floats:
        """Smallest size worth acting on where the coordinate is the size itself, |ln ratio|, NaN
        where it is a logarithm, (hypotheses, 2)."""
        ...

    @property
    def common(self) -> Floats:
        """Coordinate up to which sizes are as common as smaller ones, NaN where all are,
        (hypotheses, 2)."""
        ...

    @property
    def bending(self) -> NDArray[np.bool_]:
        """Which hold one size alone that acts on an area: it bends what the readings say of the
        car's unknowns, (hypotheses,)."""
        ...

    def effects(self, which: Ints, sizes: Floats, bends: tuple[float, float]) -> Effects:
        """What hypotheses ``which`` (n,) do at coordinates ``sizes`` (n, 2)."""
        ...


@dataclass(frozen=True)
class Layout:
    """Nodes of all hypotheses, in blocks of hypotheses that have equally many.

    ``hypothesis`` (nodes,) is that of each, ``step`` (2, nodes) how many nodes it stands along
    each size, ``unit`` (nodes, 2) where on the unit interval or square, ``log_unit`` its log weight
    there. ``along`` (2, hypotheses) is how many nodes a hypothesis has along each size.
    """

    hypothesis: Ints
    step: Ints
    unit: Floats
    log_unit: Floats
    along: Ints
    blocks: tuple[tuple[Ints, int, int], ...]  # hypotheses, first node, nodes each


@dataclass(frozen=True)
class Mesh:
    """Nodes with their sizes (nodes, 2), and log(weight x prior density) of each."""

    layout: Layout
    sizes: Floats
    log_weight: Floats


#: The one block of a healthy car alone.
HEALTHY = ((np.zeros(1, dtype=np.intp), 0, 1),)


def coarse(hypotheses: HypothesisTable) -> tuple[Layout, Floats]:
    """Evenly spaced sizes over the whole range of each hypothesis, (nodes, 2)."""
    layout = _coarse_layout(tuple(hypotheses.dimensions.tolist()))
    return layout, _within(layout, hypotheses.low, hypotheses.high)


def mesh_of(hypotheses: HypothesisTable, sizes: Floats, spread: Floats, cost: Floats) -> Mesh:
    """Gauss-Legendre nodes over each hypothesis's window.

    Hypotheses that fit far worse than the best get few nodes: they only need to be known small.
    """
    hopeless = (cost > cost.min() + 2 * _HOPELESS_NATS) & (hypotheses.dimensions == 2)
    width = np.where(hopeless, 2.2, _WIDTH)[:, None] * spread
    start = np.maximum(hypotheses.low, sizes - width)
    end = np.minimum(hypotheses.high, sizes + width)
    share = np.log((end - start) / (hypotheses.high - hypotheses.low))
    share = np.where(np.isnan(share), 0.0, share).sum(axis=1)
    layout = _laid_out(hypotheses.dimensions + hopeless, _FINE, _gauss)
    log_weight = layout.log_unit + share.take(layout.hypothesis)
    where = _within(layout, start, end)
    log_weight += log_of_ratios(hypotheses, layout.hypothesis, where)
    return Mesh(layout, where, log_weight)


def log_of_ratios(hypotheses: HypothesisTable, hypothesis: Ints, sizes: Floats) -> Floats:
    """Log prior density of nodes over that which is uniform in the coordinates, (nodes,): sizes are
    uniform in their logarithm, and a ratio's coordinate is none. Below what is worth acting on the
    density falls to nothing: whoever complains has more than that. Beyond what is common it falls,
    too: an engine hardly idles so."""
    low, high, worth = hypotheses.low, hypotheses.high, hypotheses.worth
    less = np.maximum(1.0 - (low / worth) ** 2, 0.0) / 2.0
    whole = less + np.log(high / np.maximum(low, worth))
    share, squared = (
        each.take(hypothesis, axis=0) for each in (np.log((high - low) / whole), worth**2)
    )
    log = share + np.log(np.minimum(sizes / squared, 1.0 / np.abs(sizes)))
    # What is common, and what is left above it.
    end = hypotheses.common
    whole = end - low - _RARER * np.expm1((end - high) / _RARER)
    share, end = (each.take(hypothesis, axis=0) for each in (np.log((high - low) / whole), end))
    large = share - np.maximum(sizes - end, 0.0) / _RARER
    return np.asarray((told_or(0.0, log) + told_or(0.0, large)) @ np.ones(2))


def _within(layout: Layout, start: Floats, end: Floats) -> Floats:
    """The nodes between the ends of each hypothesis's window, (hypotheses, 2) both."""
    low, width = (x.take(layout.hypothesis, axis=0) for x in (start, end - start))
    return low + width * layout.unit


def _laid_out(kind: Ints, kinds: Kinds, axis: Callable[[int], tuple[Floats, Floats]]) -> Layout:
    """Nodes of hypotheses of so many sizes and nodes along each, by ``kind`` (hypotheses,);
    ``axis`` has the nodes on the unit interval, and their log weights."""
    rows = [np.flatnonzero(kind == number) for number in range(len(kinds))]
    units = [_unit_mesh(dimensions, nodes, axis) for dimensions, nodes in kinds]
    many = sum(len(mine) * len(unit.log) for mine, unit in zip(rows, units, strict=True))
    step, unit_, log = np.empty((2, many), dtype=np.intp), np.empty((many, 2)), np.empty(many)
    along = np.empty((2, len(kind)), dtype=np.intp)
    blocks, first = [], 0
    for mine, unit in zip(rows, units, strict=True):
        each = len(unit.log)
        if not len(mine):
            continue
        nodes = slice(first, first + len(mine) * each)
        step[:, nodes].reshape(2, -1, each)[:] = unit.step[:, None]
        unit_[nodes].reshape(-1, each, 2)[:] = unit.place
        log[nodes].reshape(-1, each)[:] = unit.log
        along[:, mine] = unit.step[:, -1:] + 1
        blocks.append((mine, first, each))
        first = nodes.stop
    hypothesis = np.concatenate([np.repeat(mine, each) for mine, _, each in blocks])
    return Layout(hypothesis, step, unit_, log, along, tuple(blocks))


@dataclass(frozen=True)
class _Unit:
    """Nodes of one hypothesis: places (nodes, 2), steps along each size (2, nodes), log weights."""

    place: Floats
    step: Ints
    log: Floats


@cache
def _unit_mesh(dimensions: int, nodes: int, axis: Callable[[int], tuple[Floats, Floats]]) -> _Unit:
    """On the unit interval or square; a size that there is not is NaN."""
    x, log = axis(nodes)
    every = np.arange(nodes**dimensions)
    if dimensions == 0:
        return _Unit(np.full((1, 2), np.nan), np.zeros((2, 1), dtype=np.intp), np.zeros(1))
    if dimensions == 1:
        place, step = [x, np.full(nodes, np.nan)], [every, np.zeros_like(every)]
        return _Unit(np.stack(place, axis=1), np.stack(step), log)
    first, second = np.divmod(every, nodes)
    place, step = [x[first], x[second]], [first, second]
    return _Unit(np.stack(place, axis=1), np.stack(step), log[first] + log[second])


def _gauss(nodes: int) -> tuple[Floats, Floats]:
    """Gauss-Legendre on the unit interval."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    return 0.5 * (x + 1.0), np.log(0.5 * w)


def _even(nodes: int) -> tuple[Floats, Floats]:
    """From end to end, all alike."""
    return np.linspace(0.0, 1.0, nodes), np.zeros(nodes)


@cache
def _coarse_layout(dimensions: tuple[int, ...]) -> Layout:
    return _laid_out(np.array(dimensions, dtype=np.intp), _COARSE, _even)
