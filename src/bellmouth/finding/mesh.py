"""Where sizes are looked at: a coarse grid to start from, then nodes round the best fit."""

from dataclasses import dataclass
from functools import cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.model import Effects

__all__ = ["HEALTHY", "HypothesisTable", "Mesh", "coarse", "mesh_of"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_WIDTH = 4.5
_HOPELESS_NATS = 8.0  # a pair this much worse than the best fit gets few nodes
# Against 16 by 16 nodes a pair's 8 by 8 move probabilities by .001 in the mean, .02 at most. An odd
# number has a node in the middle: where nodes are too far apart an interval would shrink to it.
_NODES = {1: 25, 2: 8}
_COARSE = {1: 9, 2: 4}


class HypothesisTable(Protocol):
    """What is inferred: up to two sizes a hypothesis, uniform in their coordinates; the first is
    a healthy car. Causes of one recording, or courses from one recording to the next."""

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
        """The column of `COLUMNS` that each size acts through, (hypotheses, 2); None where that
        differs between recordings."""
        ...

    @property
    def bending(self) -> NDArray[np.bool_]:
        """Which hold one size alone that acts on an area: it bends what the readings say of the
        car's unknowns, (hypotheses,)."""
        ...

    def effects(self, which: Ints, sizes: Floats, bends: tuple[float, float]) -> Effects:
        """What hypotheses ``which`` (n,) do at coordinates ``sizes`` (n, 2)."""
        ...


Blocks = tuple[tuple[Ints, int, int], ...]  # hypotheses, first node, nodes each


def coarse(hypotheses: HypothesisTable) -> tuple[Ints, Floats, Ints, Blocks]:
    """Evenly spaced sizes over the whole range of each hypothesis: which, where, how many steps
    along each size, and the blocks of hypotheses that have equally many."""
    rows, mesh, step, blocks = _coarse_mesh(tuple(hypotheses.dimensions.tolist()))
    low = hypotheses.low[rows]
    return rows, low + (hypotheses.high[rows] - low) * mesh, step, blocks


@cache
def _coarse_mesh(every: tuple[int, ...]) -> tuple[Ints, Floats, Ints, Blocks]:
    """Which hypothesis, how far through the range of its sizes, in how many steps, and blocks."""
    nodes, where, steps, blocks = [], [], [], []
    start = 0
    for dimensions in (0, 1, 2):
        rows = np.flatnonzero(np.array(every) == dimensions)
        axis = np.linspace(0.0, 1.0, _COARSE.get(dimensions, 1))
        first = np.repeat(axis, len(axis)) if dimensions == 2 else axis
        second = np.tile(axis, len(axis)) if dimensions == 2 else np.full(len(axis), np.nan)
        nodes.append(np.repeat(rows, len(first)))
        where.append(np.tile(np.stack([first, second], axis=1), (len(rows), 1)))
        steps.append(np.tile(_steps(_COARSE.get(dimensions, 1), dimensions), (len(rows), 1)))
        if len(rows):
            blocks.append((rows, start, len(first)))
            start += len(nodes[-1])
    return np.concatenate(nodes), np.concatenate(where), np.concatenate(steps), tuple(blocks)


@cache
def _steps(nodes: int, dimensions: int) -> Ints:
    """How many steps along each size the nodes of one hypothesis stand."""
    every = np.arange(nodes**dimensions)
    if dimensions < 2:
        return np.stack([every, np.zeros_like(every)], axis=1)
    return np.stack(np.divmod(every, nodes), axis=1)


@cache
def _unit_mesh(nodes: int, dimensions: int) -> tuple[Floats, Floats]:
    """Gauss-Legendre nodes and log weights on the unit interval or square."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    x, log_w = 0.5 * (x + 1.0), np.log(0.5 * w)
    if dimensions == 0:
        return np.full((1, 2), np.nan), np.zeros(1)
    if dimensions == 1:
        return np.stack([x, np.full(nodes, np.nan)], axis=1), log_w
    mesh = np.stack([np.repeat(x, nodes), np.tile(x, nodes)], axis=1)
    return mesh, np.repeat(log_w, nodes) + np.tile(log_w, nodes)


@dataclass(frozen=True)
class Mesh:
    """Nodes of all hypotheses, in blocks of hypotheses that have equally many; ``step`` counts
    along each size."""

    hypothesis: Ints
    sizes: Floats
    step: Ints
    log_weight: Floats
    blocks: Blocks


HEALTHY = Mesh(
    np.zeros(1, dtype=np.intp),
    np.full((1, 2), np.nan),
    np.zeros((1, 2), dtype=np.intp),
    np.zeros(1),
    ((np.zeros(1, dtype=np.intp), 0, 1),),
)


def mesh_of(hypotheses: HypothesisTable, sizes: Floats, spread: Floats, cost: Floats) -> Mesh:
    """Gauss-Legendre nodes over each hypothesis's window, with log(weight x prior density).

    Hypotheses that fit far worse than the best get few nodes: they only need to be known small.
    """
    hopeless = (cost > cost.min() + 2 * _HOPELESS_NATS) & (hypotheses.dimensions == 2)
    width = np.where(hopeless, 2.2, _WIDTH)[:, None] * spread
    start = np.maximum(hypotheses.low, sizes - width)
    end = np.minimum(hypotheses.high, sizes + width)
    share = np.log((end - start) / (hypotheses.high - hypotheses.low))
    nodes, where, steps, logs, blocks = [], [], [], [], []
    first = 0
    for dimensions, few in ((0, False), (1, False), (2, False), (2, True)):
        rows = np.flatnonzero((hypotheses.dimensions == dimensions) & (hopeless == few))
        if not len(rows):
            continue
        count = 3 if few else _NODES.get(dimensions, 1)
        mesh, log_weight = _unit_mesh(count, dimensions)
        place = start[rows, None, :] + (end - start)[rows, None, :] * mesh
        log = log_weight + np.nansum(share[rows], axis=1)[:, None]
        nodes.append(np.repeat(rows, len(mesh)))
        where.append(place.reshape(-1, 2))
        steps.append(np.tile(_steps(count, dimensions), (len(rows), 1)))
        logs.append(log.ravel())
        blocks.append((rows, first, len(mesh)))
        first += len(rows) * len(mesh)
    return Mesh(
        np.concatenate(nodes), np.concatenate(where), np.concatenate(steps),
        np.concatenate(logs), tuple(blocks),
    )  # fmt: skip
