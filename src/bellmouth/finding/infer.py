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
    cost = found.misfit * found.residuals.shape[1] + (found.coordinates**2).sum(axis=1)
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
    white = residual @ metric.T
    curvature = _curvature(jacobian, metric)
    cost = (white**2).sum(axis=1) + (coordinates**2).sum(axis=1)
    mesh = mesh_of(hypotheses, sizes, _size_spread(curvature, hypotheses), cost)
    nodes, where = mesh.hypothesis, mesh.sizes
    unknown = jacobian[:, :, : coordinates.shape[1]]
    fitted = (coordinates, sizes, curvature, unknown)
    offset, logs = yield from _at_nodes(hypotheses, bends, mesh, fitted, covariances[:-1], metric)
    log_scale = np.log(scale_weights / scale_weights.sum())[:, None]
    likelihood = np.logaddexp.reduce(logs + log_scale, axis=0)
    side = sum((log(nodes, where) for log in problem.side_logs), np.zeros(len(nodes)))
    likelihood = likelihood + side
    evidence = np.full(hypotheses.count, -np.inf)
    np.logaddexp.at(evidence, nodes, likelihood + mesh.log_weight)
    unexplained = marginals(offset[:1], unknown[:1], HEALTHY.blocks, covariances[-1:])[0, 0]
    weight = np.exp(logs + log_scale - (logs + log_scale).max(axis=0))
    return Posterior(
        log_evidence=evidence,
        # An engine that no cause explains idles and rests as any of the others might.
        log_unexplained=float(unexplained + np.logaddexp.reduce(side) - np.log(len(side))),
        grid=Grid(nodes, where, mesh.log_weight, likelihood),
        coordinates=coordinates,
        sizes=sizes,
        curvature=curvature,
        misfit=np.mean(white**2, axis=1) if white.shape[1] else np.zeros(hypotheses.count),
        standardised=white,
        residuals=residual,
        scale_weights=(weight / weight.sum(axis=0)).T,
    )


def _at_nodes(
    hypotheses: HypothesisTable,
    bends: tuple[float, float],
    mesh: Mesh,
    fitted: tuple[Floats, Floats, Floats, Floats],
    covariances: Floats,
    metric: Floats,
) -> Steps[tuple[Floats, Floats]]:
    """Residuals with every unknown at zero (nodes, readings), and log likelihoods (scales, nodes)
    with the unknowns integrated; ``fitted``: coordinates, sizes, curvature, slopes of unknowns."""
    nodes, where = mesh.hypothesis, mesh.sizes
    coordinates, sizes, curvature, unknown = fitted
    effects = hypotheses.effects(nodes, where, bends)
    bent = np.flatnonzero(hypotheses.bending[nodes])
    moved = _moved(coordinates, sizes, curvature, nodes[bent], where[bent])
    told, anew = yield [
        Question(coordinates[nodes], effects, shared=_shared(hypotheses, nodes, mesh.step)),
        Question(moved, effects.of(bent), slopes=True),
    ]
    # The unknowns are linear around the best fit: at coordinate zero the residual would be this.
    offset = told.residuals - (unknown @ coordinates[:, :, None])[nodes, :, 0]
    logs = marginals(offset, unknown, mesh.blocks, covariances)
    there = anew.residuals - (anew.slopes @ moved[:, :, None])[:, :, 0]
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
    gradient = (white[:, None, :] @ slopes)[:, 0, :] + moved
    step = -_solved(slopes, np.ones(moved.shape[1]), gradient)
    nearer = moved + np.clip(step, -_FARTHEST, _FARTHEST)
    [told] = yield [Question(nearer, effects)]
    before = (white**2).sum(axis=1) + (moved**2).sum(axis=1)
    after = ((told.residuals @ metric.T) ** 2).sum(axis=1) + (nearer**2).sum(axis=1)
    settled = told.residuals - (anew.slopes @ nearer[:, :, None])[:, :, 0]
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
    node, place, step = coarse(hypotheses)
    zero = np.zeros((1, unknowns))
    healthy = hypotheses.effects(np.zeros(1, dtype=np.intp), np.full((1, 2), np.nan), bends)
    effects = hypotheses.effects(node, place, bends)
    shared = _shared(hypotheses, node, step)
    at_zero, at_nodes = yield [
        Question(zero, healthy, slopes=True),
        Question(np.zeros((len(node), unknowns)), effects, shared=shared),
    ]
    white = metric @ at_zero.slopes[0]
    at_node = at_nodes.residuals @ metric.T
    solve = np.linalg.solve(white.T @ white + np.eye(unknowns), white.T)
    coordinates = -at_node @ solve.T
    cost = ((at_node + coordinates @ white.T) ** 2).sum(axis=1) + (coordinates**2).sum(axis=1)
    order = np.lexsort((cost, node))
    best = order[np.searchsorted(node[order], np.arange(hypotheses.count))]
    return np.clip(coordinates[best], -2.5, 2.5), place[best]


def _linearise(
    hypotheses: HypothesisTable, bends: tuple[float, float], coordinates: Floats, sizes: Floats
) -> Steps[tuple[Floats, Floats]]:
    """Residuals and their Jacobian in unknowns then the two sizes."""
    count = hypotheses.count
    every = np.arange(count)
    # One step in each size.
    steps = _STEP * np.array([[1.0, 0.0], [0.0, 1.0]])
    moved = (sizes + steps[:, None, :]).reshape(-1, 2)
    twice = np.concatenate([coordinates, coordinates])
    here, beside = yield [
        Question(coordinates, hypotheses.effects(every, sizes, bends), slopes=True),
        Question(twice, hypotheses.effects(np.concatenate([every, every]), moved, bends)),
    ]
    residual = here.residuals
    by_size = (beside.residuals.reshape(2, count, -1) - residual) / _STEP
    return residual, np.concatenate([here.slopes, np.moveaxis(by_size, 0, 2)], axis=2)


def _curvature(jacobian: Floats, metric: Floats) -> Floats:
    white = metric @ jacobian
    information = np.swapaxes(white, 1, 2) @ white
    unknowns = jacobian.shape[2] - 2
    index = np.arange(unknowns)
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
    unknowns = coordinates.shape[1]
    white = residual @ metric.T
    white_jacobian = metric @ jacobian
    prior = np.repeat([1.0, 0.3], [unknowns, 2])
    gradient = (white[:, None, :] @ white_jacobian)[:, 0, :]
    gradient[:, :unknowns] += coordinates
    step = -_solved(white_jacobian, prior, gradient)
    step = np.clip(step, -_FARTHEST, _FARTHEST)
    count = hypotheses.count
    lengths = np.array([1.0, 0.35])[:, None, None]
    trial = coordinates + lengths * step[:, :unknowns]
    moved = np.clip(sizes + lengths * step[:, unknowns:], hypotheses.low, hypotheses.high)
    trial = np.concatenate([trial, np.broadcast_to(coordinates[:1], (1, *coordinates.shape))])
    moved = np.concatenate([moved, hypotheses.low[None]])
    effects = hypotheses.effects(np.tile(np.arange(count), 3), moved.reshape(-1, 2), bends)
    [told] = yield [Question(trial.reshape(-1, unknowns), effects)]
    trial_white = told.residuals @ metric.T
    cost = (trial_white**2).sum(axis=1).reshape(3, count) + (trial**2).sum(axis=2)
    here = (white**2).sum(axis=1) + (coordinates**2).sum(axis=1)
    choice = np.argmin(np.vstack([here, cost]), axis=0)
    rows = np.arange(count)
    return np.stack([coordinates, *trial])[choice, rows], np.stack([sizes, *moved])[choice, rows]


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


def _size_spread(curvature: Floats, hypotheses: HypothesisTable) -> Floats:
    """Standard deviation of each size coordinate, the unknowns integrated out."""
    unknowns = curvature.shape[1] - 2
    inner = curvature[:, :unknowns, :unknowns]
    cross = curvature[:, :unknowns, unknowns:]
    schur = curvature[:, unknowns:, unknowns:] - np.swapaxes(cross, 1, 2) @ np.linalg.solve(
        inner, cross
    )
    width = np.nan_to_num(hypotheses.high - hypotheses.low, nan=1.0)
    # A size that nothing bears on is spread over its whole range.
    schur[:, 0, 0] += 1.0 / width[:, 0] ** 2
    schur[:, 1, 1] += 1.0 / width[:, 1] ** 2
    covariance = np.linalg.inv(schur)
    return np.asarray(np.sqrt(np.abs(np.diagonal(covariance, axis1=1, axis2=2))))


def _moved(
    coordinates: Floats, sizes: Floats, curvature: Floats, which: Ints, where: Floats
) -> Floats:
    """The unknowns that hypotheses ``which`` (n,) of one size ask for at sizes ``where`` (n, 2):
    the best fit's, moved along with the size; (n, unknowns)."""
    unknowns = coordinates.shape[1]
    rows, back = np.unique(which, return_inverse=True)
    held = curvature[rows]
    by_size = -np.linalg.solve(held[:, :unknowns, :unknowns], held[:, :unknowns, unknowns, None])
    step = by_size[back, :, 0] * (where - sizes[which])[:, :1]
    return np.asarray(coordinates[which] + np.clip(step, -_FARTHEST, _FARTHEST))
