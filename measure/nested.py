"""A general-purpose nested sampler on the very posterior that the finding integrates: one
hypothesis at a time, nothing linearised, every unknown of the car sampled.

Two ways. *Plain* draws from the priors. *Moved* draws the unknowns from a normal about the
finding's best fit, wider than it believes, and corrects the likelihood by the ratio of the two
densities: evidence and posterior are exactly the same, a third of the calls suffice, and the
sampler's own error is smaller (posterior repartitioning: X. Chen and others, Statistics and
Computing 29 (2019) 835-850; quoted from memory).

A hundred live points are too few to judge by: evidence then errs by up to .35, and over twenty
cases is .2 too high in the mean. With a thousand it errs by .1, and other roads agree.
"""

import time
from dataclasses import dataclass

import dynesty
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from bellmouth.finding.fitting import squares
from bellmouth.finding.infer import Posterior, Problem, log_likelihood
from bellmouth.finding.marginals import each_way
from bellmouth.finding.mesh import log_of_ratios
from measure.walks import InStep

__all__ = ["LIVE", "Agreement", "Nested", "Target", "agreement", "sample"]

#: Live points.
LIVE = 1000

Floats = NDArray[np.float64]

_WIDER = 1.7
_IN_STEP = 5  # a part of the live points of which walk together: more of them walk for nothing


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
        self._row = row
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
        point, known = np.empty_like(unit), len(self.active)
        point[..., :known] = ndtri(unit[..., :known])
        point[..., known:] = self._low + (self._high - self._low) * unit[..., known:]
        return point

    def log(self, point: Floats) -> float:
        """Log likelihood, corrected for where the unknowns were drawn from."""
        return float(self.logs(point[None])[0])

    def logs(self, points: Floats) -> Floats:
        """The same at many points (n, dimensions) at once, (n,)."""
        drawn, unknowns = points[:, : len(self.active)], self.unknowns(points)
        correction = 0.5 * (squares(drawn) - squares(unknowns)) + self.log_width
        where = np.full((len(points), 2), np.nan)
        where[:, : self.sizes] = points[:, len(self.active) :]
        return self._log_at(unknowns, where) + correction

    def unknowns(self, points: Floats) -> Floats:
        """The car's unknowns at points, standard normal by their prior."""
        drawn, sizes = points[..., : len(self.active)], points[..., len(self.active) :]
        if not self._moved:
            return drawn
        shift = (sizes - self._at) @ self._shift.T
        return np.asarray(self._centre + shift + drawn @ self._factor.T)

    def _log_at(self, unknowns: Floats, where: Floats) -> Floats:
        """`bellmouth.finding.infer.log_likelihood` with its factors kept, and whatever is not
        Gaussian: idle speed and spark, plate position, engine-off pressure, load."""
        problem, which = self._problem, np.full(len(where), self._row, dtype=np.intp)
        coordinates = np.zeros((len(where), problem.model.unknowns.size))
        coordinates[:, self.active] = unknowns
        effects = problem.hypotheses.effects(which, where, self._bends)
        ways = each_way(coordinates, problem.model.unknowns.mixed)
        left = [(share, problem.model.residuals(held, effects)) for share, held in ways]
        each = [
            share + scale - 0.5 * squares(residuals @ whitener.T)
            for share, residuals in left
            for scale, whitener in zip(self._log_scale, self._whiteners, strict=True)
        ]
        gaussian = np.logaddexp.reduce(np.array(each))
        beside = sum((side(which, where) for side in problem.side_logs), np.zeros(len(where)))
        # The cube is uniform in the sizes' coordinates, the prior of a ratio is not.
        return np.asarray(gaussian + beside + log_of_ratios(problem.hypotheses, which, where))


def sample(
    problem: Problem,
    posterior: Posterior,
    row: int,
    live: int = LIVE,
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
        rstate=np.random.default_rng(seed), pool=InStep(aim), queue_size=live // _IN_STEP,
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
    live: int = LIVE,
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
