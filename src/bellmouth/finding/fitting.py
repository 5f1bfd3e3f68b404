"""The best fit of every hypothesis: sizes and unknowns together, by damped Gauss-Newton steps.

What the model is asked goes out as questions, so that many recordings can be asked together.
"""

from collections.abc import Generator, Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.effects import Effects, Shared
from bellmouth.finding.marginals import turned_over
from bellmouth.finding.mesh import HypothesisTable, Layout, coarse
from bellmouth.finding.model import Model
from bellmouth.finding.pooled import Answer, Question

__all__ = [
    "FARTHEST",
    "Steps",
    "bends_of",
    "improve",
    "leaning",
    "linearise",
    "moved_along",
    "of_nodes",
    "size_spread",
    "squares",
    "start_from",
    "step_of",
    "times",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

Found = TypeVar("Found")
#: Questions go out, answers come in, and in the end there is something found.
Steps = Generator[Sequence[Question], Sequence[Answer], Found]

_STEP = 1e-4
FARTHEST = 1.5  # unknowns are linear no farther than this from the best fit
_DAMPING = 0.3**-0.5
_STEPS_WHEN_GOOD = 3


def bends_of(model: Model) -> tuple[float, float]:
    """Spread of a healthy and of a contaminated meter's exponent."""
    healthy = float(model.unknowns.sd[model.unknowns.index("meter_bend")])
    return healthy, model.unknowns.contaminated_bend_sd


def start_from(
    model: Model, hypotheses: HypothesisTable, covariance: Floats, bends: tuple[float, float]
) -> Steps[tuple[Floats, Floats]]:
    """The best node of a coarse grid, with the unknowns it asks for."""
    unknowns = model.unknowns.size
    layout, place = coarse(hypotheses)
    metric: Floats = np.linalg.inv(np.linalg.cholesky(covariance))
    healthy = hypotheses.effects(np.zeros(1, dtype=np.intp), np.full((1, 2), np.nan), bends)
    effects = hypotheses.effects(layout.hypothesis, place, bends)
    here = np.zeros((1, unknowns))
    if hypotheses.acting is not None:
        here = yield from _as_when_good(model, healthy, covariance)
    nowhere = np.repeat(here, hypotheses.count, axis=0)
    at_here, at_nodes = yield [
        Question(here, healthy, slopes=True),
        of_nodes(nowhere, effects, layout, hypotheses.acting),
    ]
    # The least of |a + W c|² + |c|² is a' (I + W W')^-1 a: only the best nodes need their c.
    slopes = metric @ at_here.slopes[0]
    factor = np.linalg.cholesky(slopes @ slopes.T + np.eye(len(slopes)))
    turned = np.linalg.solve(factor, np.concatenate([metric, slopes], axis=1))
    at_zero = at_nodes.residuals - times(at_here.slopes, here)
    white = at_zero @ turned[:, : len(slopes)].T
    cost = squares(white)
    best = np.zeros(hypotheses.count, dtype=np.intp)
    for rows, first, each in layout.blocks:
        mine = cost[first : first + len(rows) * each].reshape(len(rows), each)
        best[rows] = first + np.arange(len(rows)) * each + mine.argmin(axis=1)
    coordinates = -white[best] @ turned[:, len(slopes) :]
    return np.clip(coordinates, -2.5, 2.5), place[best]


def _as_when_good(model: Model, healthy: Effects, covariance: Floats) -> Steps[Floats]:
    """The unknowns that the references alone ask for, (1, unknowns): a fault that changes much
    is better looked for from the car as it was than from what lies between the two. Nothing
    moves where the recording stands alone."""
    here = np.zeros((1, model.unknowns.size))
    good = np.flatnonzero(~model.observations.judged[model.rows])
    if not len(good):
        return here
    metric = np.linalg.inv(np.linalg.cholesky(covariance[np.ix_(good, good)]))
    for _ in range(_STEPS_WHEN_GOOD):
        [told] = yield [Question(here, healthy, slopes=True)]
        white, slopes = told.residuals[:, good] @ metric.T, metric @ told.slopes[:, good]
        here = here + np.clip(step_of(white, slopes, here), -FARTHEST, FARTHEST)
    return here


def of_nodes(
    coordinates: Floats, effects: Effects, layout: Layout, acting: Ints | None
) -> Question:
    """Residuals at all nodes, those of a hypothesis at its coordinates (hypotheses, unknowns)."""
    which = layout.hypothesis
    if acting is None:
        return Question(coordinates.take(which, axis=0), effects)
    return Question(coordinates, effects, shared=Shared(which, layout.step, layout.along, acting))


def improve(
    hypotheses: HypothesisTable,
    metric: Floats,
    bends: tuple[float, float],
    coordinates: Floats,
    sizes: Floats,
) -> Steps[tuple[Floats, Floats]]:
    """One damped Gauss-Newton step of unknowns and sizes together, kept where it helps.

    A cause at its smallest is next to a healthy car, and a course with one of two sizes at its
    smallest to the course without it: it begins again there where that fits better.
    """
    residual, jacobian = yield from linearise(hypotheses, bends, coordinates, sizes)
    count, unknowns = coordinates.shape
    white, slopes = residual @ metric.T, metric @ jacobian
    # Damped as if each size were known to about 2 either way.
    slopes[:, :, unknowns:] *= _DAMPING
    here = np.zeros((count, unknowns + 2))
    here[:, :unknowns] = coordinates
    step = step_of(white, slopes, here)
    step[:, unknowns:] *= _DAMPING
    step = np.clip(step, -FARTHEST, FARTHEST)
    trial, moved = _trials(hypotheses, coordinates, sizes, step)
    others = len(trial) - 1
    which = np.tile(np.arange(count), others)
    effects = hypotheses.effects(which, moved[1:].reshape(-1, 2), bends)
    [told] = yield [Question(trial[1:].reshape(-1, unknowns), effects)]
    cost = squares(trial)
    cost[0] += squares(white)
    cost[1:] += squares(told.residuals @ metric.T).reshape(others, count)
    choice, rows = np.argmin(cost, axis=0), np.arange(count)
    return trial[choice, rows], moved[choice, rows]


def _trials(
    hypotheses: HypothesisTable, coordinates: Floats, sizes: Floats, step: Floats
) -> tuple[Floats, Floats]:
    """Unknowns (trials, hypotheses, unknowns) and sizes to try: here, a whole step, a part of it,
    next to a healthy car, and next to what is left without each of two sizes."""
    count, unknowns = coordinates.shape
    beside = hypotheses.next_to
    tried = 4 if beside is None else 6
    trial, moved = np.empty((tried, count, unknowns)), np.empty((tried, count, 2))
    trial[0], moved[0] = coordinates, sizes
    for place, length in ((1, 1.0), (2, 0.35)):
        trial[place] = coordinates + length * step[:, :unknowns]
        moved[place] = sizes + length * step[:, unknowns:]
    moved[1:3] = np.clip(moved[1:3], hypotheses.low, hypotheses.high)
    trial[3], moved[3] = coordinates[0], hypotheses.low
    if beside is None:
        return trial, moved
    two = np.flatnonzero(hypotheses.dimensions == 2)
    for gone in (0, 1):
        rows, place = beside[:, gone], 4 + gone
        trial[place], moved[place] = coordinates[rows], sizes
        moved[place, two, gone] = hypotheses.low[two, gone]
        moved[place, two, 1 - gone] = sizes[rows[two], 0]
    return trial, moved


def linearise(
    hypotheses: HypothesisTable, bends: tuple[float, float], coordinates: Floats, sizes: Floats
) -> Steps[tuple[Floats, Floats]]:
    """Residuals and their Jacobian in unknowns then the two sizes."""
    every = np.arange(hypotheses.count)
    # One step in each size that there is.
    sized, paired = (np.flatnonzero(hypotheses.dimensions >= size) for size in (1, 2))
    which = np.concatenate([sized, paired])
    step = sizes.take(which, axis=0)
    step[: len(sized), 0] += _STEP
    step[len(sized) :, 1] += _STEP
    here, beside = yield [
        Question(coordinates, hypotheses.effects(every, sizes, bends), slopes=True),
        Question(coordinates.take(which, axis=0), hypotheses.effects(which, step, bends)),
    ]
    residual, unknowns = here.residuals, coordinates.shape[1]
    by_size = (beside.residuals - residual.take(which, axis=0)) / _STEP
    jacobian = np.zeros((*residual.shape, unknowns + 2))
    jacobian[:, :, :unknowns] = here.slopes
    jacobian[sized, :, unknowns] = by_size[: len(sized)]
    jacobian[paired, :, unknowns + 1] = by_size[len(sized) :]
    return residual, jacobian


def step_of(white: Floats, slopes: Floats, here: Floats) -> Floats:
    """Gauss-Newton step from coordinates ``here`` (batch, unknowns) that are normal about 0, by
    whitened residuals and their slopes; in the residuals' own dimension where they are fewer
    (Woodbury)."""
    turned = turned_over(slopes)
    readings, unknowns = slopes.shape[1:]
    if readings >= unknowns:
        gradient = times(turned, white) + here
        inner = turned @ slopes + np.eye(unknowns)
        return np.asarray(-np.linalg.solve(inner, gradient[:, :, None])[:, :, 0])
    inner = slopes @ turned + np.eye(readings)
    left = np.linalg.solve(inner, (white - times(slopes, here))[:, :, None])
    return np.asarray(-here - (turned @ left)[:, :, 0])


def leaning(slopes: Floats) -> tuple[Floats, Floats]:
    """What the unknowns gain with each size (hypotheses, unknowns, 2), and the information on the
    sizes with the unknowns integrated out (hypotheses, 2, 2), from whitened slopes; as `step_of`
    in the smaller dimension."""
    unknowns = slopes.shape[2] - 2
    own, sized = slopes[:, :, :unknowns], slopes[:, :, unknowns:]
    turned = turned_over(own)
    if slopes.shape[1] >= unknowns:
        follow = np.asarray(-np.linalg.solve(turned @ own + np.eye(unknowns), turned @ sized))
        return follow, np.swapaxes(sized, 1, 2) @ (sized + own @ follow)
    left = np.linalg.solve(own @ turned + np.eye(slopes.shape[1]), sized)
    return np.asarray(-turned @ left), np.asarray(np.swapaxes(sized, 1, 2) @ left)


def size_spread(information: Floats, hypotheses: HypothesisTable) -> Floats:
    """Standard deviation of each size coordinate, the unknowns integrated out."""
    width = np.nan_to_num(hypotheses.high - hypotheses.low, nan=1.0)
    # A size that nothing bears on is spread over its whole range.
    own = np.diagonal(information, axis1=1, axis2=2) + 1.0 / width**2
    determinant = own[:, 0] * own[:, 1] - information[:, 0, 1] * information[:, 1, 0]
    return np.asarray(np.sqrt(np.abs(own[:, ::-1] / determinant[:, None])))


def moved_along(
    coordinates: Floats, sizes: Floats, follow: Floats, which: Ints, where: Floats
) -> Floats:
    """The unknowns that hypotheses ``which`` (n,) of one size ask for at sizes ``where`` (n, 2):
    the best fit's, moved along with the size; (n, unknowns)."""
    step = follow[:, :, 0].take(which, axis=0) * (where - sizes.take(which, axis=0))[:, :1]
    return coordinates.take(which, axis=0) + np.clip(step, -FARTHEST, FARTHEST)


def squares(vectors: Floats) -> Floats:
    """Squared length of each row."""
    return np.asarray(np.einsum("...i,...i->...", vectors, vectors))


def times(matrices: Floats, vectors: Floats) -> Floats:
    """Each of a batch of matrices times its vector."""
    return np.asarray((matrices @ vectors[:, :, None])[:, :, 0])
