"""The Cramér-Rao bound on the true cause's sizes: inverse Fisher information of the finding's own
model at its best fit, with all unknowns of the car, once for each scale of the model error."""

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.case import Case
from bellmouth.finding.causes import CAUSES

__all__ = ["bounds"]

Floats = NDArray[np.float64]

_STEP = 1e-4


def bounds(case: Case, cause: str) -> dict[str, tuple[float, ...]]:
    """Standard deviation of the log of each size of a cause or pair, one a scale of model error.

    The first scale is an engine that follows filling and plate laws, the last one that does not.
    Empty for a healthy car or a cause that was not asked about.
    """
    if cause == "healthy" or cause not in case.hypotheses.names:
        return {}
    row = case.hypotheses.names.index(cause)
    parts = case.hypotheses.causes[row]
    jacobian = _jacobian(case, row, len(parts))
    unknowns = case.model.unknowns.size
    prior = np.diag(np.concatenate([np.ones(unknowns), np.zeros(len(parts))]))
    sds = []
    for covariance in case.covariances[:-1]:
        information = jacobian.T @ np.linalg.solve(covariance, jacobian) + prior
        cut = information[unknowns:, unknowns:] - information[
            unknowns:, :unknowns
        ] @ np.linalg.solve(information[:unknowns, :unknowns], information[:unknowns, unknowns:])
        sds.append(_deviations(cut))
    return {
        part: tuple(float(sd[place]) * _per_coordinate(part) for sd in sds)
        for place, part in enumerate(parts)
    }


def _jacobian(case: Case, row: int, sizes: int) -> Floats:
    """Residuals by unknowns and sizes at the best fit, (residuals, unknowns + sizes)."""
    u = case.model.unknowns
    count = u.size
    points = np.tile(case.posterior.coordinates[row], (count + sizes + 1, 1))
    where = np.tile(case.posterior.sizes[row], (count + sizes + 1, 1))
    points[1 : count + 1] += _STEP * np.eye(count)
    for place in range(sizes):
        where[count + 1 + place, place] += _STEP
    which = np.full(len(points), row, dtype=np.intp)
    bends = (float(u.sd[u.index("meter_bend")]), u.contaminated_bend_sd)
    residual = case.model.residuals(points, case.hypotheses.effects(which, where, bends))
    return np.asarray((residual[1:] - residual[0]).T / _STEP)


def _deviations(information: Floats) -> Floats:
    """Square roots of the inverse's diagonal; infinite where nothing bears on a size."""
    if np.linalg.eigvalsh(information)[0] < 1e-9:
        return np.full(len(information), np.inf)
    return np.asarray(np.sqrt(np.diag(np.linalg.inv(information))))


def _per_coordinate(cause: str) -> float:
    """A leak is inferred as the log of its area and told as a diameter."""
    return 0.5 if CAUSES[cause].effect == "leak" else 1.0
