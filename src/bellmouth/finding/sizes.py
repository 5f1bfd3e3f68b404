"""Sizes with their 90 % intervals, from the grid over each hypothesis."""

from collections.abc import Collection
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.causes import CAUSES
from bellmouth.finding.hypothesis import Scale
from bellmouth.finding.priors import Priors
from bellmouth.finding.result import Size
from bellmouth.physics import orifice

if TYPE_CHECKING:
    from bellmouth.finding.case import Case

__all__ = ["QUANTILES", "Z90", "size_from_coordinate", "sizes_of", "told_log_sd"]

Floats = NDArray[np.float64]

#: Ends and middle of what holds a size nine times in ten, and of a normal in standard deviations.
QUANTILES = (0.05, 0.5, 0.95)
Z90 = 1.645
_NORMAL = np.array([-Z90, 0.0, Z90])


def size_from_coordinate(cause: str, coordinate: Floats, scale: Scale) -> Floats:
    """A size in the unit of its cause from the coordinate it is inferred in."""
    what = CAUSES[cause]
    if what.effect == "leak":
        return orifice.leak_diameter_m(np.exp(coordinate)) * 1e3
    if what.effect == "deposit":
        return np.asarray(np.exp(coordinate))
    if what.effect == "learned":
        return np.asarray(np.exp(coordinate) * scale.idle_flow_g_s)
    return np.asarray(np.exp(what.sign * coordinate))


def told_log_sd(cause: str, priors: Priors) -> float:
    """What no reading tells of a size beyond the formulae, in its logarithm: of a deposit, how it
    goes on from the opening at which the engine idles to the stop."""
    return float(priors.plate["deposit_told_log_sd"]) if CAUSES[cause].effect == "deposit" else 0.0


def sizes_of(case: "Case", names: Collection[str] | None = None) -> dict[str, dict[str, Size]]:
    """Sizes of every hypothesis, or of those named, by cause."""
    grid, hypotheses = case.posterior.grid, case.hypotheses
    which, sizes, log = grid.hypothesis, grid.sizes, grid.log_weight + grid.log_likelihood
    wanted = np.array([names is None or name in names for name in hypotheses.names])
    if names is not None:
        # Most nodes are those of pairs, and few of these are ever asked for.
        mine = np.flatnonzero(wanted.take(which))
        which, sizes, log = which.take(mine), sizes.take(mine, axis=0), log.take(mine)
    highest = np.full(hypotheses.count, -np.inf)
    np.maximum.at(highest, which, log)
    mass = np.exp(log - highest[which])
    moments = [_moments(which, sizes[:, place], mass, hypotheses.count) for place in (0, 1)]
    result: dict[str, dict[str, Size]] = {}
    for row, causes in enumerate(hypotheses.causes):
        if not wanted[row]:
            continue
        told = {}
        for place, cause in enumerate(causes):
            mean, sd, low, high = (column[row] for column in moments[place])
            quantiles = np.minimum(np.maximum(mean + _NORMAL * sd, low), high)
            if len(causes) == 1:
                mine = np.flatnonzero(which == row)
                quantiles = _by_steps(sizes[:, 0].take(mine), mass.take(mine), quantiles)
            quantiles = _doubted(quantiles, told_log_sd(cause, case.priors))
            told[cause] = _size(cause, quantiles, case.scale)
        result[hypotheses.names[row]] = told
    return result


def _moments(
    which: NDArray[np.intp], coordinate: Floats, mass: Floats, count: int
) -> tuple[Floats, ...]:
    """Mean, standard deviation, lowest and highest node of each of ``count`` hypotheses."""
    known = np.isfinite(coordinate)
    node = np.where(known, coordinate, 0.0)
    weight = np.where(known, mass, 0.0)
    total = np.maximum(np.bincount(which, weight, count), 1e-300)
    mean = np.bincount(which, weight * node, count) / total
    variance = np.bincount(which, weight * (node - mean[which]) ** 2, count) / total
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, which[known], node[known])
    np.maximum.at(high, which[known], node[known])
    return mean, np.sqrt(variance), low, high


def _by_steps(nodes: Floats, weight: Floats, by_moments: Floats) -> Floats:
    """Quantiles of the sum over nodes; the moments where few nodes carry the mass."""
    total = weight.sum()
    if weight.max() > 0.2 * total:
        return by_moments
    steps = (np.cumsum(weight) - 0.5 * weight) / total
    return np.interp(QUANTILES, steps, nodes)


def _doubted(quantiles: Floats, log_sd: float) -> Floats:
    """An interval wider by an independent error: half widths add as squares (JCGM 100, 5.1.2)."""
    away = np.hypot(quantiles - quantiles[1], Z90 * log_sd)
    return np.asarray(quantiles[1] + np.sign(_NORMAL) * away)


def _size(cause: str, quantiles: Floats, scale: Scale) -> Size:
    low, value, high = sorted(size_from_coordinate(cause, quantiles, scale).tolist())
    return Size(value, low, high, CAUSES[cause].unit)
