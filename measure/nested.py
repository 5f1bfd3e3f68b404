"""A general-purpose nested sampler on the very posterior that the finding integrates: one
hypothesis at a time, nothing linearised, every unknown of the car sampled.

Two ways. *Plain* draws from the priors. *Moved* draws the unknowns from a normal about the
finding's best fit, wider than it believes, and corrects the likelihood by the ratio of the two
densities: evidence and posterior are exactly the same, a third of the calls suffice, and the
sampler's own error is smaller (posterior repartitioning: X. Chen and others, Statistics and
Computing 29 (2019) 835-850; quoted from memory).
"""

import time
from dataclasses import dataclass

import dynesty
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from bellmouth.finding.infer import Posterior, Problem, log_likelihood
from bellmouth.finding.mesh import log_of_ratios

__all__ = ["Agreement", "Nested", "Target", "agreement", "sample"]

Floats = NDArray[np.float64]

_WIDER = 1.7


@dataclass(frozen=True)
class Nested:
    """Log evidence with the sampler's own error; mean and spread of the sizes' coordinates."""

    log_evidence: float
    error: float
    mean: Floats
    sd: Floats
    seconds: float
    calls: int


@dataclass(frozen=True)
class Agreement:
    """The sampler and the finding on one hypothesis of one case.

    ``evidence`` is finding less sampler [nats], ``means`` the largest difference of the sizes'
    posterior means in standard deviations (NaN without sizes), ``faster`` the sampler's time for
    this hypothesis over the finding's for all of them. ``place``, ``name`` and ``hypothesis`` say
    which case it was.
    """

    unknowns: int
    evidence: float
    error: float
    means: float
    calls: int
    seconds: float
    faster: float
    place: int = 0
    name: str = ""
    hypothesis: str = ""


class Target:
    """The posterior of one hypothesis as a sampler wants it: unit cube in, log likelihood out.

    It is made from the very `Problem` that the finding integrates, so that nothing which bears on
    a finding can be forgotten here.
    """

    def __init__(self, problem: Problem, posterior: Posterior, row: int, *, moved: bool) -> None:
        self._problem = problem
        self._which = np.array([row], dtype=np.intp)
        unknowns = problem.model.unknowns
        healthy_bend = float(unknowns.sd[unknowns.index("meter_bend")])
        self._bends = (healthy_bend, unknowns.contaminated_bend_sd)
        self.sizes = int(problem.hypotheses.dimensions[row])
        self._low = problem.hypotheses.low[row, : self.sizes]
        self._high = problem.hypotheses.high[row, : self.sizes]
        factors = [np.linalg.cholesky(one) for one in problem.covariances[:-1]]
        self._whiteners = [np.linalg.inv(factor) for factor in factors]
        weights = problem.scale_weights
        self._log_scale = np.log(weights / weights.sum()) - np.array(
            [np.log(np.diag(factor)).sum() for factor in factors]
        )
        self.active = _active(problem, posterior, row)
        self._moved = moved
        self.log_width = 0.0
        if moved:
            self._place(posterior, row)

    def _place(self, posterior: Posterior, row: int) -> None:
        """Where the moved prior stands: best fit, how it shifts with the sizes, and its width."""
        count = self._problem.model.unknowns.size
        rows = np.concatenate([self.active, count + np.arange(self.sizes)])
        information = posterior.curvature[row][np.ix_(rows, rows)]
        inner = information[: len(self.active), : len(self.active)]
        self._shift = -np.linalg.solve(inner, information[: len(self.active), len(self.active) :])
        self._centre = posterior.coordinates[row][self.active]
        self._at = posterior.sizes[row][: self.sizes]
        self._factor = _WIDER * np.linalg.cholesky(np.linalg.inv(inner))
        self.log_width = float(np.log(np.diag(self._factor)).sum())

    @property
    def dimensions(self) -> int:
        """Unknowns that matter, and sizes."""
        return len(self.active) + self.sizes

    def transform(self, unit: Floats) -> Floats:
        """Standard normal unknowns, and sizes evenly over their range."""
        point = np.empty_like(unit)
        point[: len(self.active)] = ndtri(unit[: len(self.active)])
        point[len(self.active) :] = self._low + (self._high - self._low) * unit[len(self.active) :]
        return point

    def log(self, point: Floats) -> float:
        """Log likelihood, corrected for where the unknowns were drawn from."""
        drawn, unknowns = point[: len(self.active)], self.unknowns(point)
        correction = 0.5 * float(drawn @ drawn - unknowns @ unknowns) + self.log_width
        where = np.full((1, 2), np.nan)
        where[0, : self.sizes] = point[len(self.active) :]
        return self._log_at(unknowns, where) + correction

    def unknowns(self, point: Floats) -> Floats:
        """The car's unknowns at a point, standard normal by their prior."""
        drawn, sizes = point[: len(self.active)], point[len(self.active) :]
        if not self._moved:
            return drawn
        return np.asarray(self._centre + self._shift @ (sizes - self._at) + self._factor @ drawn)

    def _log_at(self, unknowns: Floats, where: Floats) -> float:
        """`bellmouth.finding.infer.log_likelihood` with its factors kept, and whatever is not
        Gaussian: idle speed and spark, plate position, engine-off pressure, load."""
        problem, which = self._problem, self._which
        coordinates = np.zeros((1, problem.model.unknowns.size))
        coordinates[0, self.active] = unknowns
        effects = problem.hypotheses.effects(which, where, self._bends)
        residual = problem.model.residuals(coordinates, effects)[0]
        squares = [((whitener @ residual) ** 2).sum() for whitener in self._whiteners]
        gaussian = np.logaddexp.reduce(self._log_scale - 0.5 * np.array(squares))
        beside = sum(side(which, where)[0] for side in problem.side_logs)
        # The cube is uniform in the sizes' coordinates, the prior of a ratio is not.
        return float(gaussian + beside + log_of_ratios(problem.hypotheses, which, where)[0])


def sample(
    problem: Problem,
    posterior: Posterior,
    row: int,
    live: int = 250,
    *,
    moved: bool = True,
    seed: int = 1,
) -> Nested:
    """Static nested sampling of hypothesis ``row``: normal unknowns, sizes by their prior.

    Unknowns that no reading depends on (a boost sensor that is not there) integrate to one and
    are left out. ``moved`` chooses the way; see the module's docstring.
    """
    aim = Target(problem, posterior, row, moved=moved)
    start = time.perf_counter()
    sampler = dynesty.NestedSampler(
        aim.log, aim.transform, aim.dimensions, nlive=live, sample="rwalk", bound="single",
        rstate=np.random.default_rng(seed),
    )  # fmt: skip
    sampler.run_nested(dlogz=0.05, print_progress=False)
    found = sampler.results
    weight = np.exp(found.logwt - found.logz[-1])
    places = found.samples[:, len(aim.active) :]
    mean = np.average(places, axis=0, weights=weight)
    sd = np.sqrt(np.average((places - mean) ** 2, axis=0, weights=weight))
    return Nested(
        log_evidence=float(found.logz[-1]),
        error=float(found.logzerr[-1]),
        mean=mean,
        sd=sd,
        seconds=time.perf_counter() - start,
        calls=int(np.sum(found.ncall)),
    )


def agreement(
    problem: Problem,
    posterior: Posterior,
    row: int,
    finding_s: float,
    live: int = 250,
    *,
    moved: bool = True,
) -> Agreement:
    """Sample one hypothesis and compare; ``finding_s`` is what the whole finding took."""
    nested = sample(problem, posterior, row, live, moved=moved)
    mean = _mean(problem, posterior, row)
    means = np.abs(mean - nested.mean) / nested.sd
    return Agreement(
        unknowns=len(_active(problem, posterior, row)) + len(mean),
        evidence=float(posterior.log_evidence[row]) - nested.log_evidence,
        error=nested.error,
        means=float(means.max()) if len(means) else float("nan"),
        calls=nested.calls,
        seconds=nested.seconds,
        faster=nested.seconds / finding_s,
    )


def _mean(problem: Problem, posterior: Posterior, row: int) -> Floats:
    """Mean of the sizes' coordinates under one hypothesis, from the finding's grid."""
    grid = posterior.grid
    mine = grid.hypothesis == row
    log = (grid.log_weight + grid.log_likelihood)[mine]
    places = grid.sizes[mine][:, : int(problem.hypotheses.dimensions[row])]
    return np.asarray(np.average(places, axis=0, weights=np.exp(log - log.max())))


def _active(problem: Problem, posterior: Posterior, row: int) -> NDArray[np.intp]:
    """Unknowns that move the likelihood anywhere near the best fit, the middle, or off it."""
    count = problem.model.unknowns.size
    sizes = np.tile(posterior.sizes[row], (count + 1, 1))
    moved = np.zeros(count, dtype=bool)
    for base in (posterior.coordinates[row], np.zeros(count), np.full(count, 0.7)):
        points = np.concatenate([base[None], base + np.eye(count)])
        log = log_likelihood(
            problem.model, problem.hypotheses, row, problem.covariances, problem.scale_weights,
            points, sizes,
        )  # fmt: skip
        moved |= np.abs(log[1:] - log[0]) > 1e-9
    return np.flatnonzero(moved)
