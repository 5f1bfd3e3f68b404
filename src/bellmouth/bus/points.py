"""Which further operating point would split the causes still in play.

For each candidate the readings that each likely cause predicts there are compared: how far apart
they are, against how far real readings may be from the model there once it has been fitted to
the points that are recorded. What telling them apart is worth is the mutual information of cause
and reading.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Car
from bellmouth.errors import FindingError
from bellmouth.finding import model_error
from bellmouth.finding.case import Case, solve
from bellmouth.finding.model import Model
from bellmouth.finding.nominal import nominal_of
from bellmouth.finding.nuisance import unknowns
from bellmouth.finding.observations import observe
from bellmouth.recording.stretch import Reading, Stretch

if TYPE_CHECKING:
    from bellmouth.bus.expected import View
    from bellmouth.bus.guide import Step

__all__ = ["LEAST_BITS", "imagined", "point_bits", "splitting_point"]

Floats = NDArray[np.float64]

# A further point costs half a minute with the engine hot and the car connected; the checks that are
# suggested cost twenty times as much for ten times as many. Our choice. [bits]
LEAST_BITS = 0.03
_LIKELY = 0.01
_MOST = 12
_DRAWS = 200
_STEP = 1e-4


def splitting_point(
    found: Sequence[Stretch], candidates: Sequence["Step"], car: Car, now: "View | None"
) -> "Step | None":
    """The candidate that is expected to tell most about the cause, None where none tells enough."""
    if now is None:
        return None
    bits = {
        step.name: point_bits(found, step.speed_rpm, car, now)
        for step in candidates
        if step.speed_rpm is not None
    }
    best = max(bits, key=lambda name: bits[name], default=None)
    if best is None or bits[best] < LEAST_BITS:
        return None
    return next(step for step in candidates if step.name == best)


def point_bits(found: Sequence[Stretch], speed_rpm: float, car: Car, now: "View") -> float:
    """Mutual information of the cause and what would be read at a held speed. [rpm], [bits]

    0 where nothing can be said about it.
    """
    point = imagined(found, speed_rpm)
    if point is None:
        return 0.0
    try:
        case = solve(found, [], car)
    except FindingError:
        return 0.0
    likely = [
        row for row, name in enumerate(case.hypotheses.names)
        if now.probability.get(name, 0.0) >= _LIKELY
    ]  # fmt: skip
    likely = sorted(likely, key=lambda row: -now.probability[case.hypotheses.names[row]])[:_MOST]
    if len(likely) < 2:
        return 0.0
    weight = np.array([now.probability[case.hypotheses.names[row]] for row in likely])
    which = np.array(likely, dtype=np.intp)
    mean, covariance = _predicted(case, [*found, point], car, which)
    return _mutual_bits(weight / weight.sum(), mean, covariance) if mean.shape[1] else 0.0


def imagined(found: Sequence[Stretch], speed_rpm: float) -> Stretch | None:
    """A stretch at a speed not recorded, between or beyond the two nearest that are; None where
    there are no two. Only its place counts: what it reads cancels between the causes."""
    running = sorted(
        (one for one in found if one.kind in ("idle", "held") and one.warm is not False),
        key=lambda one: abs(np.log(one.value("engine_speed") / speed_rpm)),
    )
    low = running[0] if running else None
    apart = [
        one for one in running[1:]
        if low and abs(np.log(one.value("engine_speed") / low.value("engine_speed"))) > 0.1
    ]  # fmt: skip
    if low is None or not apart:
        return None
    high = apart[0]
    spread = np.log(high.value("engine_speed") / low.value("engine_speed"))
    share = float(np.log(speed_rpm / low.value("engine_speed")) / spread)
    readings: dict[str, Reading] = {}
    for name in low.readings.keys() & high.readings.keys():
        a, b = low.readings[name], high.readings[name]
        if a.value > 0 and b.value > 0:
            value = float(a.value * (b.value / a.value) ** np.clip(share, -0.5, 1.5))
        else:
            value = a.value + float(np.clip(share, 0.0, 1.0)) * (b.value - a.value)
        error = max(a.standard_error, b.standard_error)
        readings[name] = Reading(value, error, error, 10, 10.0, a.quantum)
    return Stretch("held", high.end_s + 1.0, high.end_s + 21.0, readings, True, True, 0.0)


def _predicted(
    case: Case, stretches: Sequence[Stretch], car: Car, which: NDArray[np.intp]
) -> tuple[Floats, Floats]:
    """What each hypothesis expects to read at the last stretch, as logarithms, and how surely:
    shapes (hypotheses, readings) and (hypotheses, readings, readings)."""
    priors = case.priors
    o = observe(stretches, [], car)
    rough = nominal_of(o, priors)
    model = Model(o, unknowns(o, car, priors), rough.unknown_pa)
    whole = np.asarray(
        model_error.covariances(model, priors, rough.flow_kg_s, rough.pressure_pa)[:-1].mean(axis=0)
    )
    residual, jacobian = _linearised(case, model, which)
    new = model.rows == o.points - 1
    old = ~new
    # The laws' misfit at the points recorded tells of it at a point near them.
    told = np.linalg.solve(whole[np.ix_(old, old)], whole[np.ix_(old, new)]).T
    left = whole[np.ix_(new, new)] - told @ whole[np.ix_(old, new)]
    slope = jacobian[:, new, :] - told @ jacobian[:, old, :]
    spread = np.linalg.inv(case.posterior.curvature[which] + 1e-6 * np.eye(slope.shape[2]))
    covariance = left + slope @ spread @ np.swapaxes(slope, 1, 2)
    # A residual is reading minus prediction: what is expected to be read is its negative.
    mean = residual[:, old] @ told.T - residual[:, new]
    return np.asarray(mean), np.asarray(covariance)


def _linearised(case: Case, model: Model, which: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Residuals of all points and their slopes in unknowns and sizes, at each best fit."""
    u = model.unknowns
    bends = (float(u.sd[u.index("meter_bend")]), u.contaminated_bend_sd)
    coordinates, sizes = case.posterior.coordinates[which], case.posterior.sizes[which]

    def at(moved: Floats, sized: Floats) -> Floats:
        return model.residuals(moved.copy(), case.hypotheses.effects(which, sized, bends))

    base = at(coordinates, sizes)
    columns = []
    for column in range(coordinates.shape[1]):
        moved = coordinates.copy()
        moved[:, column] += _STEP
        columns.append((at(moved, sizes) - base) / _STEP)
    for place in range(2):
        sized = sizes.copy()
        sized[:, place] += _STEP
        columns.append(np.nan_to_num((at(coordinates, sized) - base) / _STEP))
    return base, np.stack(columns, axis=2)


def _mutual_bits(weight: Floats, mean: Floats, covariance: Floats) -> float:
    """Mutual information of a label and a Gaussian reading that depends on it, by sampling."""
    rng = np.random.default_rng(0)
    factor = np.linalg.cholesky(covariance + 1e-12 * np.eye(mean.shape[1]))
    inverse = np.linalg.inv(factor)
    log_det = np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
    normal = rng.standard_normal((_DRAWS, mean.shape[1]))
    bits = 0.0
    for row, p in enumerate(weight):
        drawn = mean[row] + normal @ factor[row].T
        white = np.einsum("kij,knj->kni", inverse, drawn[None] - mean[:, None])
        log = -0.5 * (white**2).sum(axis=2) - log_det[:, None]
        mixture = np.logaddexp.reduce(log + np.log(weight)[:, None], axis=0)
        bits += float(p * np.mean(log[row] - mixture) / np.log(2.0))
    return max(bits, 0.0)
