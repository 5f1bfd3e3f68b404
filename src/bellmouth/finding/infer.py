"""Posterior over causes and sizes.

For each hypothesis the sizes are integrated on a grid and the car's unknowns analytically, in the
Gaussian that the model's linearisation at the best fit makes of them. Where one cause alone acts
on an area, the unknowns bend with its size: there the model is linearised anew at each node, at
the unknowns that its size asks for. ``tests/finding`` and ``make bench`` compare both evidence and
means with a nested sampler on the same posterior.
"""

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.effects import Effects, Shared
from bellmouth.finding.marginals import marginals
from bellmouth.finding.mesh import HEALTHY, HypothesisTable, Mesh, coarse, mesh_of
from bellmouth.finding.model import Model
from bellmouth.finding.pooled import Answer, Pools, Question

__all__ = [
    "Grid",
    "HypothesisTable",
    "Posterior",
    "Problem",
    "infer",
    "infer_many",
    "log_likelihood",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
SideLog = Callable[[Ints, Floats], Floats]

Found = TypeVar("Found")
#: Questions go out, answers come in, and in the end there is something found.
Steps = Generator[Sequence[Question], Sequence[Answer], Found]

_STEP = 1e-4
_ITERATIONS = 2
_FARTHEST = 1.5  # unknowns are linear no farther than this from the best fit
_LOST_NATS = 8.0  # a hypothesis fits this much worse than a healthy car: it has not been fitted
_BELIEVED_NATS = 5.0  # its evidence is this near the best: a weight of .7 % or more beside it


@dataclass(frozen=True)
class Grid:
    """Nodes over the sizes of all hypotheses, flat: which hypothesis, where, log quadrature
    weight times prior, log likelihood with the unknowns integrated out."""

    hypothesis: Ints
    sizes: Floats
    log_weight: Floats
    log_likelihood: Floats


@dataclass(frozen=True)
class Posterior:
    """Log evidence of each hypothesis, of none (``unexplained``), and what made it.

    ``coordinates`` (hypotheses, unknowns) and ``sizes`` (hypotheses, 2) are the best fit;
    ``curvature`` (hypotheses, unknowns + 2, unknowns + 2) the Fisher information there, prior
    included; ``misfit`` (hypotheses,) the chi-square a residual at the best fit; ``residuals``
    and ``standardised`` (hypotheses, residuals) what is left there, as logarithms and whitened.
    """

    log_evidence: Floats
    log_unexplained: float
    grid: Grid
    coordinates: Floats
    sizes: Floats
    curvature: Floats
    misfit: Floats
    standardised: Floats
    residuals: Floats
    scale_weights: Floats


@dataclass(frozen=True)
class Problem:
    """What there is to infer from.

    ``covariances`` (scales + 1, residuals, residuals) from `model_error.covariances`;
    each of ``side_logs`` adds a log likelihood that is not Gaussian (idle speed, plate position)
    for hypotheses (n,) at sizes (n, 2).
    """

    model: Model
    hypotheses: HypothesisTable
    covariances: Floats
    scale_weights: Floats
    side_logs: Sequence[SideLog]


def infer(problem: Problem) -> Posterior:
    """Integrate every hypothesis; see the module's docstring."""
    return infer_many([problem])[0]


def infer_many(problems: Sequence[Problem]) -> list[Posterior]:
    """The same for many recordings in step, their models evaluated together (`pooled`)."""
    running = {place: _sound_steps(problem) for place, problem in enumerate(problems)}
    asked = {place: next(steps) for place, steps in running.items()}
    found: dict[int, Posterior] = {}
    pools = Pools()
    while asked:
        models = [problems[place].model for place, round_ in asked.items() for _ in round_]
        told = iter(pools.answers(models, [one for round_ in asked.values() for one in round_]))
        replies = {place: [next(told) for _ in round_] for place, round_ in asked.items()}
        asked = {}
        for place, reply in replies.items():
            try:
                asked[place] = running[place].send(reply)
            except StopIteration as end:
                found[place] = end.value
    return [found[place] for place in range(len(problems))]


def _sound_steps(problem: Problem) -> Steps[Posterior]:
    """The inference, once more where a hypothesis is believed that never found its best fit.

    Far from it the linearisation promises a fit that is not to be had, and evidence with it. Any
    cause at its smallest is next to a healthy car: from there such a hypothesis begins again.
    """
    found = yield from _steps(problem)
    cost = found.misfit * found.residuals.shape[1] + _squares(found.coordinates)
    lost = cost > cost[0] + 2 * _LOST_NATS
    lost &= found.log_evidence > found.log_evidence.max() - _BELIEVED_NATS
    if not lost.any():
        return found
    coordinates = np.where(lost[:, None], found.coordinates[0], found.coordinates)
    sizes = np.where(lost[:, None], problem.hypotheses.low, found.sizes)
    return (yield from _steps(problem, (coordinates, sizes)))


def _steps(problem: Problem, start: tuple[Floats, Floats] | None = None) -> Steps[Posterior]:
    """The inference as questions to the model, so that many can be asked together."""
    model, hypotheses = problem.model, problem.hypotheses
    covariances, scale_weights = problem.covariances, problem.scale_weights
    bends = _bends(model)
    middle = np.asarray(np.mean(covariances[:-1], axis=0))
    metric: Floats = np.linalg.inv(np.linalg.cholesky(middle))
    if start is None:
        start = yield from _start(model, hypotheses, metric, bends)
    coordinates, sizes = start
    for _ in range(_ITERATIONS):
        coordinates, sizes = yield from _improve(hypotheses, metric, bends, coordinates, sizes)
    residual, jacobian = yield from _linearise(hypotheses, bends, coordinates, sizes)
    white, white_jacobian = residual @ metric.T, metric @ jacobian
    misfit, curvature = _squares(white), _curvature(white_jacobian)
    follow, left = _leaning(white_jacobian, curvature)
    spread = _size_spread(left, hypotheses)
    mesh = mesh_of(hypotheses, sizes, spread, misfit + _squares(coordinates))
    nodes, where = mesh.hypothesis, mesh.sizes
    unknown = jacobian[:, :, : coordinates.shape[1]]
    fitted = (coordinates, sizes, follow, unknown)
    offset, logs = yield from _at_nodes(hypotheses, bends, mesh, fitted, covariances[:-1], metric)
    likelihood, weights = _over_scales(logs, scale_weights)
    side = sum((log(nodes, where) for log in problem.side_logs), np.zeros(len(nodes)))
    likelihood = likelihood + side
    unexplained = marginals(offset[:1], unknown[:1], HEALTHY.blocks, covariances[-1:])[0, 0]
    return Posterior(
        log_evidence=_evidence(likelihood + mesh.log_weight, mesh, hypotheses.count),
        # An engine that no cause explains idles and rests as any of the others might.
        log_unexplained=float(unexplained + _log_sum(side) - np.log(len(side))),
        grid=Grid(nodes, where, mesh.log_weight, likelihood),
        coordinates=coordinates,
        sizes=sizes,
        curvature=curvature,
        misfit=misfit / max(white.shape[1], 1),
        standardised=white,
        residuals=residual,
        scale_weights=weights,
    )


def _squares(vectors: Floats) -> Floats:
    """Squared length of each row."""
    return np.asarray(np.einsum("...i,...i->...", vectors, vectors))


def _over_scales(logs: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Log likelihood (nodes,) over all model-error scales, from that at each (scales, nodes), and
    the posterior weight of each scale (nodes, scales)."""
    joint = logs + np.log(weights / weights.sum())[:, None]
    highest = joint.max(axis=0)
    share = np.exp(joint - highest)
    total = share.sum(axis=0)
    return highest + np.log(total), (share / total).T


def _evidence(logs: Floats, mesh: Mesh, count: int) -> Floats:
    """Log evidence of each hypothesis from its nodes."""
    evidence = np.full(count, -np.inf)
    for rows, first, each in mesh.blocks:
        mine = logs[first : first + len(rows) * each]
        evidence[rows] = _log_sum(mine.reshape(len(rows), each))
    return evidence


def _log_sum(logs: Floats) -> Floats:
    """Logarithm of the sum along the last axis: `np.logaddexp` costs five times as much."""
    highest = logs.max(axis=-1, keepdims=True)
    return np.asarray(highest[..., 0] + np.log(np.exp(logs - highest).sum(axis=-1)))


def _at_nodes(
    hypotheses: HypothesisTable,
    bends: tuple[float, float],
    mesh: Mesh,
    fitted: tuple[Floats, Floats, Floats, Floats],
    covariances: Floats,
    metric: Floats,
) -> Steps[tuple[Floats, Floats]]:
    """Residuals with every unknown at zero (nodes, readings), and log likelihoods (scales, nodes)
    with the unknowns integrated; ``fitted``: coordinates, sizes, how the unknowns follow the
    sizes, slopes of unknowns."""
    nodes, where = mesh.hypothesis, mesh.sizes
    coordinates, sizes, follow, unknown = fitted
    effects = hypotheses.effects(nodes, where, bends)
    bent = np.flatnonzero(hypotheses.bending[nodes])
    moved = _moved(coordinates, sizes, follow, nodes[bent], where[bent])
    shared = _shared(hypotheses, nodes, mesh.step)
    told, anew = yield [
        Question(coordinates.take(nodes, axis=0), effects, shared=shared),
        Question(moved, effects.of(bent), slopes=True),
    ]
    # The unknowns are linear around the best fit: at coordinate zero the residual would be this.
    offset = told.residuals - _times(unknown, coordinates).take(nodes, axis=0)
    logs = marginals(offset, unknown, mesh.blocks, covariances)
    there = anew.residuals - _times(anew.slopes, moved)
    there = yield from _settled(moved, anew, there, effects.of(bent), metric)
    every = ((np.arange(len(bent)), 0, 1),)
    logs[:, bent] = marginals(there, anew.slopes, every, covariances)
    return offset, logs


def _settled(
    moved: Floats, anew: Answer, there: Floats, effects: Effects, metric: Floats
) -> Steps[Floats]:
    """``there`` after one more step of the unknowns, with the slopes kept, where that fits
    better."""
    white, slopes = anew.residuals @ metric.T, metric @ anew.slopes
    gradient = _times(np.swapaxes(slopes, 1, 2), white) + moved
    step = -_solved(slopes, np.ones(moved.shape[1]), gradient)
    nearer = moved + np.clip(step, -_FARTHEST, _FARTHEST)
    [told] = yield [Question(nearer, effects)]
    before = _squares(white) + _squares(moved)
    after = _squares(told.residuals @ metric.T) + _squares(nearer)
    settled = told.residuals - _times(anew.slopes, nearer)
    return np.where((after < before)[:, None], settled, there)


def log_likelihood(
    model: Model,
    hypotheses: HypothesisTable,
    which: int,
    covariances: Floats,
    scale_weights: Floats,
    coordinates: Floats,
    sizes: Floats,
) -> Floats:
    """Log likelihood without any linearisation, (batch,): the reference that samplers use."""
    chosen = np.full(len(coordinates), which, dtype=np.intp)
    residual = model.residuals(coordinates, hypotheses.effects(chosen, sizes, _bends(model)))
    logs = []
    for covariance, weight in zip(covariances[:-1], scale_weights, strict=True):
        factor = np.linalg.cholesky(covariance)
        white = np.linalg.solve(factor, residual.T)
        log = -0.5 * (white**2).sum(axis=0) - np.log(np.diag(factor)).sum()
        logs.append(log + np.log(weight / scale_weights.sum()))
    return np.asarray(np.logaddexp.reduce(np.stack(logs), axis=0))


def _shared(hypotheses: HypothesisTable, which: Ints, step: Ints) -> Shared | None:
    acting = hypotheses.acting
    return None if acting is None else Shared(which, step, acting)


def _bends(model: Model) -> tuple[float, float]:
    healthy = float(model.unknowns.sd[model.unknowns.index("meter_bend")])
    return healthy, model.unknowns.contaminated_bend_sd


def _start(
    model: Model, hypotheses: HypothesisTable, metric: Floats, bends: tuple[float, float]
) -> Steps[tuple[Floats, Floats]]:
    """The best node of a coarse grid, with the unknowns it asks for."""
    unknowns = model.unknowns.size
    node, place, step, blocks = coarse(hypotheses)
    zero = np.zeros((1, unknowns))
    healthy = hypotheses.effects(np.zeros(1, dtype=np.intp), np.full((1, 2), np.nan), bends)
    effects = hypotheses.effects(node, place, bends)
    shared = _shared(hypotheses, node, step)
    at_zero, at_nodes = yield [
        Question(zero, healthy, slopes=True),
        Question(np.zeros((len(node), unknowns)), effects, shared=shared),
    ]
    # The least of |a + W c|² + |c|² is a' (I + W W')^-1 a: only the best nodes need their c.
    slopes = metric @ at_zero.slopes[0]
    factor = np.linalg.cholesky(slopes @ slopes.T + np.eye(len(slopes)))
    turned = np.linalg.solve(factor, np.concatenate([metric, slopes], axis=1))
    white = at_nodes.residuals @ turned[:, : len(slopes)].T
    cost = _squares(white)
    best = np.zeros(hypotheses.count, dtype=np.intp)
    for rows, first, each in blocks:
        mine = cost[first : first + len(rows) * each].reshape(len(rows), each)
        best[rows] = first + np.arange(len(rows)) * each + mine.argmin(axis=1)
    coordinates = -white[best] @ turned[:, len(slopes) :]
    return np.clip(coordinates, -2.5, 2.5), place[best]


def _linearise(
    hypotheses: HypothesisTable, bends: tuple[float, float], coordinates: Floats, sizes: Floats
) -> Steps[tuple[Floats, Floats]]:
    """Residuals and their Jacobian in unknowns then the two sizes."""
    every = np.arange(hypotheses.count)
    # One step in each size that there is.
    sized, paired = (np.flatnonzero(hypotheses.dimensions >= size) for size in (1, 2))
    which, step = np.concatenate([sized, paired]), sizes[np.concatenate([sized, paired])]
    step[: len(sized), 0] += _STEP
    step[len(sized) :, 1] += _STEP
    here, beside = yield [
        Question(coordinates, hypotheses.effects(every, sizes, bends), slopes=True),
        Question(coordinates[which], hypotheses.effects(which, step, bends)),
    ]
    residual, unknowns = here.residuals, coordinates.shape[1]
    by_size = (beside.residuals - residual[which]) / _STEP
    jacobian = np.zeros((*residual.shape, unknowns + 2))
    jacobian[:, :, :unknowns] = here.slopes
    jacobian[sized, :, unknowns] = by_size[: len(sized)]
    jacobian[paired, :, unknowns + 1] = by_size[len(sized) :]
    return residual, jacobian


def _curvature(white: Floats) -> Floats:
    """The Fisher information from whitened slopes, the unknowns' prior included."""
    information = np.swapaxes(white, 1, 2) @ white
    index = np.arange(white.shape[2] - 2)
    information[:, index, index] += 1.0
    return information


def _improve(
    hypotheses: HypothesisTable,
    metric: Floats,
    bends: tuple[float, float],
    coordinates: Floats,
    sizes: Floats,
) -> Steps[tuple[Floats, Floats]]:
    """One damped Gauss-Newton step of unknowns and sizes together, kept where it helps.

    A cause at its smallest is next to a healthy car: it begins again there where that fits better.
    """
    residual, jacobian = yield from _linearise(hypotheses, bends, coordinates, sizes)
    count, unknowns = coordinates.shape
    white = residual @ metric.T
    white_jacobian = metric @ jacobian
    prior = np.repeat([1.0, 0.3], [unknowns, 2])
    gradient = _times(np.swapaxes(white_jacobian, 1, 2), white)
    gradient[:, :unknowns] += coordinates
    step = -_solved(white_jacobian, prior, gradient)
    step = np.clip(step, -_FARTHEST, _FARTHEST)
    # Here, a whole step, a part of it, and next to a healthy car.
    trial, moved = np.empty((4, count, unknowns)), np.empty((4, count, 2))
    trial[0], moved[0] = coordinates, sizes
    for place, length in ((1, 1.0), (2, 0.35)):
        trial[place] = coordinates + length * step[:, :unknowns]
        moved[place] = sizes + length * step[:, unknowns:]
    trial[3], moved[3] = coordinates[0], hypotheses.low
    moved[1:3] = np.clip(moved[1:3], hypotheses.low, hypotheses.high)
    effects = hypotheses.effects(np.tile(np.arange(count), 3), moved[1:].reshape(-1, 2), bends)
    [told] = yield [Question(trial[1:].reshape(-1, unknowns), effects)]
    cost = _squares(trial)
    cost[0] += _squares(white)
    cost[1:] += _squares(told.residuals @ metric.T).reshape(3, count)
    choice, rows = np.argmin(cost, axis=0), np.arange(count)
    return trial[choice, rows], moved[choice, rows]


def _solved(white: Floats, prior: Floats, gradient: Floats) -> Floats:
    """``(white' white + diag(prior))^-1 gradient`` for each of a batch; in the residuals' own
    dimension where they are fewer (Woodbury)."""
    turned = np.swapaxes(white, 1, 2)
    if white.shape[1] >= white.shape[2]:
        return np.asarray(
            np.linalg.solve(turned @ white + np.diag(prior), gradient[:, :, None])[:, :, 0]
        )
    first = gradient / prior
    inner = (white / prior) @ turned + np.eye(white.shape[1])
    left = np.linalg.solve(inner, white @ first[:, :, None])
    return np.asarray(first - (turned @ left)[:, :, 0] / prior)


def _times(matrices: Floats, vectors: Floats) -> Floats:
    """Each of a batch of matrices times its vector."""
    return np.asarray((matrices @ vectors[:, :, None])[:, :, 0])


def _leaning(white: Floats, curvature: Floats) -> tuple[Floats, Floats]:
    """What the unknowns gain with each size (hypotheses, unknowns, 2), and the information on the
    sizes with the unknowns integrated out (hypotheses, 2, 2); in the residuals' own dimension
    where they are fewer, as in `_solved`."""
    unknowns = white.shape[2] - 2
    own, sized = white[:, :, :unknowns], white[:, :, unknowns:]
    turned = np.swapaxes(own, 1, 2)
    if white.shape[1] >= unknowns:
        cross = curvature[:, :unknowns, unknowns:]
        follow = -np.linalg.solve(curvature[:, :unknowns, :unknowns], cross)
        return follow, curvature[:, unknowns:, unknowns:] + np.swapaxes(cross, 1, 2) @ follow
    left = np.linalg.solve(own @ turned + np.eye(white.shape[1]), sized)
    return -(turned @ left), np.swapaxes(sized, 1, 2) @ left


def _size_spread(information: Floats, hypotheses: HypothesisTable) -> Floats:
    """Standard deviation of each size coordinate, the unknowns integrated out."""
    width = np.nan_to_num(hypotheses.high - hypotheses.low, nan=1.0)
    # A size that nothing bears on is spread over its whole range.
    own = np.diagonal(information, axis1=1, axis2=2) + 1.0 / width**2
    determinant = own[:, 0] * own[:, 1] - information[:, 0, 1] * information[:, 1, 0]
    return np.asarray(np.sqrt(np.abs(own[:, ::-1] / determinant[:, None])))


def _moved(coordinates: Floats, sizes: Floats, follow: Floats, which: Ints, where: Floats) -> Floats:
    """The unknowns that hypotheses ``which`` (n,) of one size ask for at sizes ``where`` (n, 2):
    the best fit's, moved along with the size; (n, unknowns)."""
    step = follow[which, :, 0] * (where - sizes[which])[:, :1]
    return np.asarray(coordinates[which] + np.clip(step, -_FARTHEST, _FARTHEST))
