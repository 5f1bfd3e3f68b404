"""Posterior over causes and sizes.

For each hypothesis the sizes are integrated on a grid and the car's unknowns analytically, in the
Gaussian that the model's linearisation at the best fit makes of them. The unknowns bend with the
size of a cause, most where it acts on an area: for one cause alone the model is linearised anew at
each node, at the unknowns that its size asks for. ``tests/measure`` and ``make bench`` compare both
evidence and means with a nested sampler on the same posterior.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.effects import Effects
from bellmouth.finding.fitting import (
    FARTHEST,
    Steps,
    bends_of,
    improve,
    leaning,
    linearise,
    moved_along,
    of_nodes,
    size_spread,
    squares,
    start_from,
    step_of,
    times,
)
from bellmouth.finding.marginals import each_way, marginals, of_mixed
from bellmouth.finding.mesh import HEALTHY, HypothesisTable, Mesh, mesh_of
from bellmouth.finding.model import Model
from bellmouth.finding.pooled import Answer, Pools, Question

__all__ = [
    "Grid",
    "HypothesisTable",
    "Posterior",
    "Problem",
    "SideLog",
    "infer",
    "infer_many",
    "log_likelihood",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
SideLog = Callable[[Ints, Floats], Floats]
Blocks = Sequence[tuple[Ints, int, int]]

_ITERATIONS = 2
_ITERATIONS_BESIDE = (
    4  # where a search begins again next to another: that one has to be found first
)
_LOST_NATS = 8.0  # a hypothesis fits this much worse than a healthy car: it has not been fitted
_BELIEVED_NATS = 5.0  # its evidence is this near the best: a weight of .7 % or more beside it
_NEAR_NATS = 3.0  # it fits this nearly as well as the best: more of them gain nothing


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
    ``slopes`` (hypotheses, residuals, unknowns + 2) those of the whitened residuals there, in the
    unknowns and the two sizes; ``misfit`` (hypotheses,) the chi-square a residual at the best fit;
    ``residuals`` (hypotheses, residuals) what is left, as logarithms; ``standardised`` (alike)
    how many standard deviations each is from what all the others let expect, (C⁻¹r)ᵢ / √(C⁻¹)ᵢᵢ,
    whichever order they stand in.
    """

    log_evidence: Floats
    log_unexplained: float
    grid: Grid
    coordinates: Floats
    sizes: Floats
    slopes: Floats
    misfit: Floats
    standardised: Floats
    residuals: Floats
    scale_weights: Floats

    @cached_property
    def curvature(self) -> Floats:
        """Fisher information at the best fit, the unknowns' prior included, (hypotheses,
        unknowns + 2, unknowns + 2)."""
        information = np.swapaxes(self.slopes, 1, 2) @ self.slopes
        index = np.arange(self.slopes.shape[2] - 2)
        information[:, index, index] += 1.0
        return information


@dataclass(frozen=True)
class Problem:
    """What there is to infer from.

    ``covariances`` (scales + 1, residuals, residuals) from `model_error.covariances`;
    each of ``side_logs`` adds a log likelihood that is not Gaussian (idle speed, plate position)
    for hypotheses (n,) at sizes (n, 2). ``banks_apart`` is the other way not to be explained, from
    `model_error.banks_apart`.
    """

    model: Model
    hypotheses: HypothesisTable
    covariances: Floats
    scale_weights: Floats
    side_logs: Sequence[SideLog]
    banks_apart: Floats | None = None


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
    cost = found.misfit * found.residuals.shape[1] + squares(found.coordinates)
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
    bends = bends_of(model)
    middle = np.asarray(np.mean(covariances[:-1], axis=0))
    metric: Floats = np.linalg.inv(np.linalg.cholesky(middle))
    if start is None:
        start = yield from start_from(model, hypotheses, middle, bends)
    coordinates, sizes = start
    for _ in range(_ITERATIONS if hypotheses.next_to is None else _ITERATIONS_BESIDE):
        coordinates, sizes = yield from improve(hypotheses, metric, bends, coordinates, sizes)
    residual, jacobian = yield from linearise(hypotheses, bends, coordinates, sizes)
    white, white_jacobian = residual @ metric.T, metric @ jacobian
    misfit = squares(white)
    cost = misfit + squares(coordinates)
    follow, left = leaning(white_jacobian)
    spread = size_spread(left, hypotheses)
    mesh = mesh_of(hypotheses, sizes, spread, cost)
    nodes, where = mesh.layout.hypothesis, mesh.sizes
    unknown = jacobian[:, :, : coordinates.shape[1]]
    fitted = (coordinates, sizes, follow, unknown)
    anew = _linearised_anew(hypotheses, cost)
    integrate = partial(of_mixed, covariances=covariances[:-1], mixed=model.unknowns.mixed)
    offset, logs = yield from _at_nodes(
        hypotheses, bends, mesh, np.flatnonzero(anew[nodes]), fitted, integrate, metric
    )
    likelihood, weights = _over_scales(logs, scale_weights)
    side = sum((log(nodes, where) for log in problem.side_logs), np.zeros(len(nodes)))
    likelihood = likelihood + side
    unexplained = _unexplained(problem, offset[:1], unknown[:1])
    return Posterior(
        log_evidence=_evidence(likelihood + mesh.log_weight, mesh, hypotheses.count),
        # An engine that no cause explains idles and rests as any of the others might.
        log_unexplained=float(unexplained + _log_sum(side) - np.log(len(side))),
        grid=Grid(nodes, where, mesh.log_weight, likelihood),
        coordinates=coordinates,
        sizes=sizes,
        slopes=white_jacobian,
        misfit=misfit / max(white.shape[1], 1),
        standardised=(white @ metric) / np.sqrt(np.sum(metric**2, axis=0)),
        residuals=residual,
        scale_weights=weights,
    )


def _unexplained(problem: Problem, offset: Floats, unknown: Floats) -> float:
    """Log evidence of an engine that no cause explains: it fits badly all over, or its banks
    differ as no cause makes them; either as likely where there are two to compare."""
    strange = marginals(offset, unknown, HEALTHY, problem.covariances[-1:])[0, 0]
    if problem.banks_apart is None:
        return float(strange)
    logs = marginals(offset, unknown, HEALTHY, problem.banks_apart)
    ways = len(logs) // len(problem.scale_weights)
    apart = _over_scales(logs, np.tile(problem.scale_weights, ways))[0][0]
    return float(np.logaddexp(strange, apart) - np.log(2.0))


def _over_scales(logs: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Log likelihood (nodes,) over all model-error scales, from that at each (scales, nodes), and
    the posterior weight of each scale (nodes, scales)."""
    joint = logs + np.log(weights / weights.sum())[:, None]
    highest = joint.max(axis=0)
    share = np.exp(joint - np.where(np.isfinite(highest), highest, 0.0))
    total = np.maximum(share.sum(axis=0), 1e-300)
    return highest + np.log(total), (share / total).T


def _evidence(logs: Floats, mesh: Mesh, count: int) -> Floats:
    """Log evidence of each hypothesis from its nodes."""
    evidence = np.full(count, -np.inf)
    for rows, first, each in mesh.layout.blocks:
        mine = logs[first : first + len(rows) * each]
        evidence[rows] = _log_sum(mine.reshape(len(rows), each))
    return evidence


def _log_sum(logs: Floats) -> Floats:
    """Logarithm of the sum along the last axis: `np.logaddexp` costs five times as much."""
    highest = logs.max(axis=-1, keepdims=True)
    highest = np.where(np.isfinite(highest), highest, 0.0)  # all impossible: so is the sum
    return np.asarray(highest[..., 0] + np.log(np.exp(logs - highest).sum(axis=-1)))


def _linearised_anew(hypotheses: HypothesisTable, cost: Floats) -> NDArray[np.bool_]:
    """Hypotheses of one size that are linearised at each node, not at the best fit alone: those
    that bend most, and of the others those that fit nearly as well as the best."""
    near = cost < cost.min() + 2 * _NEAR_NATS
    return np.asarray(hypotheses.bending | ((hypotheses.dimensions == 1) & near))


def _at_nodes(
    hypotheses: HypothesisTable,
    bends: tuple[float, float],
    mesh: Mesh,
    bent: Ints,
    fitted: tuple[Floats, Floats, Floats, Floats],
    integrate: Callable[[Floats, Floats, Blocks], Floats],
    metric: Floats,
) -> Steps[tuple[Floats, Floats]]:
    """Residuals with every unknown at zero (nodes, readings), and log likelihoods (scales, nodes)
    with the unknowns integrated; ``bent``: nodes to linearise at; ``fitted``: coordinates, sizes,
    how the unknowns follow the sizes, slopes of unknowns."""
    nodes, where = mesh.layout.hypothesis, mesh.sizes
    coordinates, sizes, follow, unknown = fitted
    effects = hypotheses.effects(nodes, where, bends)
    moved = moved_along(coordinates, sizes, follow, nodes[bent], where.take(bent, axis=0))
    told, anew = yield [
        of_nodes(coordinates, effects, mesh.layout, hypotheses.acting),
        Question(moved, effects.of(bent), slopes=True),
    ]
    # The unknowns are linear around the best fit: at coordinate zero the residual would be this.
    offset = told.residuals - times(unknown, coordinates).take(nodes, axis=0)
    logs = integrate(offset, unknown, mesh.layout.blocks)
    there, slopes = yield from _settled(moved, anew, effects.of(bent), metric)
    every = ((np.arange(len(bent)), 0, 1),)
    logs[:, bent] = integrate(there, slopes, every)
    return offset, logs


def _settled(
    moved: Floats, anew: Answer, effects: Effects, metric: Floats
) -> Steps[tuple[Floats, Floats]]:
    """Residuals with every unknown at zero and their slopes, after one more step of the unknowns
    where that fits better."""
    white = anew.residuals @ metric.T
    step = step_of(white, metric @ anew.slopes, moved)
    nearer = moved + np.clip(step, -FARTHEST, FARTHEST)
    [told] = yield [Question(nearer, effects, slopes=True)]
    before = squares(white) + squares(moved)
    after = squares(told.residuals @ metric.T) + squares(nearer)
    better = after < before
    point = np.where(better[:, None], nearer, moved)
    residuals = np.where(better[:, None], told.residuals, anew.residuals)
    slopes = np.where(better[:, None, None], told.slopes, anew.slopes)
    return residuals - times(slopes, point), slopes


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
    effects = hypotheses.effects(chosen, sizes, bends_of(model))
    logs = [
        log + share
        for share, held in each_way(coordinates, model.unknowns.mixed)
        for log in _over(model.residuals(held, effects), covariances, scale_weights)
    ]
    return np.asarray(np.logaddexp.reduce(np.stack(logs), axis=0))


def _over(residual: Floats, covariances: Floats, scale_weights: Floats) -> Iterator[Floats]:
    """Log density of residuals (batch, residuals) under each scale of model error, weighed."""
    for covariance, weight in zip(covariances[:-1], scale_weights, strict=True):
        factor = np.linalg.cholesky(covariance)
        white = np.linalg.solve(factor, residual.T)
        log = -0.5 * (white**2).sum(axis=0) - np.log(np.diag(factor)).sum()
        yield log + np.log(weight / scale_weights.sum())
