"""Sizes with their 90 % intervals, from the grid over each hypothesis."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.causes import CAUSES
from bellmouth.finding.hypothesis import Scale
from bellmouth.finding.result import Size

if TYPE_CHECKING:
    from bellmouth.finding.find import Case

__all__ = ["size_from_coordinate", "sizes_of"]

Floats = NDArray[np.float64]

_QUANTILES = (0.05, 0.5, 0.95)
_DISCHARGE = 0.8  # of the round hole that a leak's diameter is told as


def size_from_coordinate(cause: str, coordinate: Floats, scale: Scale) -> Floats:
    """A size in the unit of its cause from the coordinate it is inferred in."""
    what = CAUSES[cause]
    if what.effect == "leak":
        return np.asarray(np.sqrt(4.0 * np.exp(coordinate) / (np.pi * _DISCHARGE)) * 1e3)
    if what.effect == "deposit":
        return np.asarray(np.exp(coordinate))
    if what.effect == "learned":
        return np.asarray(np.exp(coordinate) * scale.idle_flow_g_s)
    return np.asarray(np.exp(what.sign * coordinate))


def sizes_of(case: "Case") -> dict[str, dict[str, Size]]:
    """Sizes of every hypothesis, by cause."""
    grid = case.posterior.grid
    log = grid.log_weight + grid.log_likelihood
    result: dict[str, dict[str, Size]] = {}
    for row, causes in enumerate(case.hypotheses.causes):
        mine = np.flatnonzero(grid.hypothesis == row)
        mass = np.exp(log[mine] - log[mine].max())
        result[case.hypotheses.names[row]] = {
            cause: _size(cause, grid.sizes[mine, place], mass, case.scale)
            for place, cause in enumerate(causes)
        }
    return result


def _size(cause: str, coordinate: Floats, mass: Floats, scale: Scale) -> Size:
    nodes, where = np.unique(coordinate, return_inverse=True)
    weight = np.bincount(where, weights=mass)
    mean = float(np.average(nodes, weights=weight))
    sd = float(np.sqrt(np.average((nodes - mean) ** 2, weights=weight)))
    if weight.max() > 0.2 * weight.sum() or len(nodes) < 12:
        # Few nodes carry the mass: the moments are better known than the steps of the sum.
        quantiles = np.clip(mean + np.array([-1.645, 0.0, 1.645]) * sd, nodes[0], nodes[-1])
    else:
        steps = (np.cumsum(weight) - 0.5 * weight) / weight.sum()
        quantiles = np.interp(_QUANTILES, steps, nodes)
    values = size_from_coordinate(cause, quantiles, scale)
    return Size(float(values[1]), float(values.min()), float(values.max()), CAUSES[cause].unit)
