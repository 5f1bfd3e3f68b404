"""Log density of readings with normal unknowns integrated out, for many nodes at once."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Mixed", "each_way", "marginals", "of_mixed", "turned_over"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

# Beyond so many readings an unknown their own dimension is the dearer one to factorise.
_MANY = 2.0
_SMALL = 6  # matrices no larger are inverted at once
_CORNER = 1e200  # stays positive, whatever the row before it takes away


def marginals(
    offset: Floats, jacobian: Floats, blocks: Sequence[tuple[Ints, int, int]], covariances: Floats
) -> Floats:
    """Log density of the readings under a linear model of standard normal unknowns.

    Parameters
    ----------
    offset
        Residuals with every unknown at zero, (nodes, residuals).
    jacobian
        Their slopes in the unknowns, (rows, residuals, unknowns).
    blocks
        Which nodes share a row of ``jacobian``, as those of a `Mesh` do.
    covariances
        Of the readings, the unknowns held, (scales, residuals, residuals).

    Returns
    -------
    Floats
        (scales, nodes), less the constant that all have in common.
    """
    if offset.shape[1] > _MANY * jacobian.shape[2]:
        projections, log_det = _by_unknowns(jacobian, covariances)
    elif len(jacobian) == len(offset):
        return _of_each(offset, jacobian, covariances)
    else:
        inverse, log_det = _by_readings(jacobian, covariances)
        projections = [inverse]
    result = []
    for rows, first, each in blocks:
        block = offset[first : first + len(rows) * each].reshape(len(rows), each, offset.shape[1])
        square, *less = (_squares(block, one[:, rows]) for one in projections)
        for one in less:
            square = square - one
        log = -0.5 * (square + log_det[:, rows, None])
        result.append(log.reshape(len(covariances), len(rows) * each))
    return np.concatenate(result, axis=1)


@dataclass(frozen=True)
class Mixed:
    """An unknown that is not one normal: its place, and of each way that it may be how likely it
    is, and its mean and spread in the unknown's coordinate."""

    place: int
    ways: tuple[tuple[float, float, float], ...]


def of_mixed(
    offset: Floats,
    jacobian: Floats,
    blocks: Sequence[tuple[Ints, int, int]],
    covariances: Floats,
    mixed: Mixed | None,
) -> Floats:
    """As `marginals` where one unknown is ``mixed``; None for no such unknown."""
    if mixed is None:
        return marginals(offset, jacobian, blocks, covariances)
    slopes = [jacobian[rows, :, mixed.place].repeat(each, axis=0) for rows, _, each in blocks]
    slope, logs = np.concatenate(slopes), []
    for share, mean, sd in mixed.ways:
        held = jacobian.copy()
        held[:, :, mixed.place] *= sd
        logs.append(np.log(share) + marginals(offset + mean * slope, held, blocks, covariances))
    return np.asarray(np.logaddexp.reduce(logs))


def each_way(coordinates: Floats, mixed: Mixed | None) -> list[tuple[float, Floats]]:
    """Logarithm of how likely each way is, and standard normal coordinates (batch, unknowns) as
    they are in it: what samplers average over."""
    if mixed is None:
        return [(0.0, coordinates)]
    found = []
    for share, mean, sd in mixed.ways:
        held = coordinates.copy()
        held[:, mixed.place] = mean + sd * coordinates[:, mixed.place]
        found.append((float(np.log(share)), held))
    return found


def _of_each(offset: Floats, jacobian: Floats, covariances: Floats) -> Floats:
    """Where every node has a row of its own."""
    size = offset.shape[1]
    plain, doubted = _last_doubted(covariances)
    # The residuals stand as one more row below the covariance: the same row of its factor is what
    # the factor's inverse makes of them.
    bordered = np.zeros((len(plain), len(offset), size + 1, size + 1))
    bordered[:, :, :size, :size] = _spread(jacobian, plain)
    # What stands above the diagonal is not looked at.
    bordered[:, :, size, :size], bordered[:, :, size, size] = offset, _CORNER
    factor = np.linalg.cholesky(bordered)
    white, log_det = _and_doubted(factor[:, :, size, :size], factor[:, :, :size, :size], doubted)
    return np.asarray(-0.5 * (np.einsum("sni,sni->sn", white, white) + log_det))


def _by_readings(jacobian: Floats, covariances: Floats) -> tuple[Floats, Floats]:
    """Inverse factors of the readings' spread (scales, rows, residuals, residuals), and its log
    determinants (scales, rows)."""
    plain, doubted = _last_doubted(covariances)
    factor = np.linalg.cholesky(_spread(jacobian, plain))
    inverse, log_det = _and_doubted(np.swapaxes(_inverse(factor), 2, 3), factor, doubted)
    return np.swapaxes(inverse, 2, 3), log_det


def _and_doubted(
    white: NDArray[np.floating[Any]], factor: NDArray[np.floating[Any]], doubted: Floats | None
) -> tuple[Floats, Floats]:
    """What inverse factors make of something (scales, rows, ..., residuals), and the log
    determinants; for the scales at hand and then for those that doubt the last reading as well."""
    log_det = _log_det(factor)
    if doubted is None:
        return np.asarray(white), log_det
    # A reading that comes last moves the last row of the factor alone.
    wider = np.sqrt(1.0 + doubted[:, None] / factor[:, :, -1, -1] ** 2)
    again = white.copy()
    again[..., -1] /= wider.reshape(wider.shape + (1,) * (white.ndim - 3))
    log_dets = np.concatenate([log_det, log_det + 2.0 * np.log(wider)])
    return np.concatenate([white, again]), log_dets


def _last_doubted(covariances: Floats) -> tuple[Floats, Floats | None]:
    """The first half of the covariances and what the second adds to the variance of the last
    reading, (half,); all of them and None where that is not all it adds."""
    half = len(covariances) // 2
    if len(covariances) != 2 * half or not covariances.size:
        return covariances, None
    added = covariances[half:] - covariances[:half]
    last: Floats = added[:, -1, -1].copy()
    added[:, -1, -1] = 0.0
    return (covariances, None) if added.any() else (covariances[:half], last)


def _inverse(factor: NDArray[np.floating[Any]]) -> Floats:
    """Of lower triangular matrices, by halves: `np.linalg.inv` does not know that they are."""
    size = factor.shape[-1]
    if size <= _SMALL:
        return np.asarray(np.linalg.inv(factor))
    half = size // 2
    first, last = _inverse(factor[..., :half, :half]), _inverse(factor[..., half:, half:])
    found = np.zeros_like(factor)
    found[..., :half, :half], found[..., half:, half:] = first, last
    found[..., half:, :half] = -last @ (factor[..., half:, :half] @ first)
    return found


def _spread(jacobian: Floats, covariances: Floats) -> Floats:
    """Of the readings, the unknowns' spread included: (scales, rows, residuals, residuals)."""
    return covariances[:, None] + jacobian @ turned_over(jacobian)


def _by_unknowns(jacobian: Floats, covariances: Floats) -> tuple[list[Floats], Floats]:
    """The same in the unknowns' dimension (Woodbury): the squares under the readings' own
    covariance, less those of what the unknowns explain."""
    whiteners = np.linalg.inv(np.linalg.cholesky(covariances))
    own = whiteners[:, None]
    white = own @ jacobian
    turned = np.swapaxes(white, 2, 3)
    factor = np.linalg.cholesky(turned @ white + np.eye(white.shape[3]))
    explained = np.linalg.solve(factor, turned) @ own
    plain = np.broadcast_to(own, (len(own), len(jacobian), *own.shape[2:]))
    return [plain, explained], _log_det(factor) - _log_det(whiteners)[:, None]


def turned_over(matrices: Floats) -> Floats:
    """Each of a batch transposed, in memory as well: by its own transpose numpy multiplies as for
    a symmetric product, which is the slower way for small ones."""
    return np.ascontiguousarray(np.swapaxes(matrices, -1, -2))


def _log_det(factor: NDArray[np.floating[Any]]) -> Floats:
    """Log determinant of what a triangular factor belongs to."""
    diagonal = np.diagonal(factor, axis1=-2, axis2=-1)
    return np.asarray(2.0 * np.log(diagonal).sum(axis=-1))


def _squares(block: Floats, projection: Floats) -> Floats:
    """Squared length of each node's residuals once projected, (scales, rows, nodes of each)."""
    scales, rows, size, readings = projection.shape
    # Every scale in one product: these are small, and many of them cost more than they multiply.
    beside = projection.transpose(1, 3, 0, 2).reshape(rows, readings, scales * size)
    turned = (block @ beside).reshape(rows, block.shape[1], scales, size)
    return np.asarray(np.einsum("rnsi,rnsi->srn", turned, turned, order="C"))
