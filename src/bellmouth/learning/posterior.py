"""The posterior of a person's biases and spreads, by importance sampling around its mode.

Given the spreads, biases are normal and are integrated out; the logarithms of the spreads are
drawn from a Student distribution at their mode and weighted, so that few actions leave the spread
as wide as it should be.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np

from bellmouth.recording.series import Floats

__all__ = ["Prior", "Seen", "posterior"]

_FREEDOM = 5.0
_STEP = 1e-3
_TIMES_MORE = 8
_ROUNDS = 40


@dataclass(frozen=True)
class Prior:
    """What is thought before any action was seen; arrays have an element a kind.

    Attributes
    ----------
    bias_s, spread_s
        Mean bias and median spread. [s]
    shared_bias_s, own_bias_s
        Standard deviation of the person's part of the bias and of the kind's own. [s]
    shared_log, own_log
        The same for the logarithm of the spread. [1]
    """

    bias_s: Floats
    shared_bias_s: Floats
    own_bias_s: Floats
    spread_s: Floats
    shared_log: float
    own_log: float

    def bias_covariance(self) -> Floats:
        """Of the biases. [s²]"""
        return np.outer(self.shared_bias_s, self.shared_bias_s) + np.diag(self.own_bias_s**2)

    def log_covariance(self) -> Floats:
        """Of the logarithms of the spreads. [1]"""
        return np.asarray(
            self.shared_log**2 + np.diag(np.full(self.spread_s.size, self.own_log**2))
        )


@dataclass(frozen=True, slots=True)
class Seen:
    """Actions of one kind: how many, mean error, squares about it, variance of the observing.

    ``count`` is a sum of weights, so it need not be whole.
    """

    count: float
    mean_s: float = 0.0
    squares: float = 0.0
    observing: float = 0.0

    @classmethod
    def of(cls, errors: Sequence[tuple[float, float, float]]) -> Self:
        """From errors, how far each may be off, either way [s], and how much each counts [1]."""
        if not errors:
            return cls(0)
        values, gives, weights = np.array(errors).T
        count = float(weights.sum())
        mean = float(weights @ values) / count
        squares = float(weights @ (values - mean) ** 2)
        # Anywhere within plus or minus a give is as likely: its variance is a third of its square.
        return cls(count, mean, squares, float(weights @ gives**2) / count / 3.0)


def posterior(
    prior: Prior, seen: Sequence[Seen], draws: int, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Draws of biases and spreads, each of shape (draws, kinds). [s]"""
    mode, curved = _mode(prior, seen)
    root = np.linalg.cholesky(np.linalg.inv(curved))
    size = mode.size
    normal = rng.standard_normal((draws * _TIMES_MORE, size))
    scale = np.sqrt(_FREEDOM / rng.chisquare(_FREEDOM, draws * _TIMES_MORE))
    standard = normal * scale[:, None]
    logs = mode + standard @ root.T
    proposed = -0.5 * (_FREEDOM + size) * np.log1p((standard**2).sum(axis=1) / _FREEDOM)
    weight = _log_posterior(prior, seen, logs) - proposed
    weight = np.exp(weight - weight.max())
    # Evenly spaced picks keep the number of draws and lose little.
    picks = (np.arange(draws) + rng.random()) / draws
    chosen = np.searchsorted(np.cumsum(weight) / weight.sum(), picks)
    spread = np.exp(logs[np.minimum(chosen, len(logs) - 1)])
    return _biases(prior, seen, spread, rng), spread


def _variances(seen: Sequence[Seen], spread: Floats) -> Floats:
    """Of one observed error by kind; ``spread`` may have one row a draw. [s²]"""
    return np.asarray(spread**2 + np.array([one.observing for one in seen]))


def _log_posterior(prior: Prior, seen: Sequence[Seen], logs: Floats) -> Floats:
    """Of many logarithms of spreads at once, shape (rows, kinds) to (rows,), up to a constant."""
    away = logs - np.log(prior.spread_s)
    inverse = np.linalg.inv(prior.log_covariance())
    found = -0.5 * np.einsum("ri,ij,rj->r", away, inverse, away)
    have = [place for place, one in enumerate(seen) if one.count]
    if not have:
        return np.asarray(found)
    variance = _variances(seen, np.exp(logs))[:, have]
    counts = np.array([seen[place].count for place in have])
    squares = np.array([seen[place].squares for place in have])
    found -= 0.5 * ((counts - 1) * np.log(variance) + squares / variance).sum(axis=1)
    means = np.array([seen[place].mean_s for place in have]) - prior.bias_s[have]
    covariance = prior.bias_covariance()[np.ix_(have, have)] + (
        (variance / counts)[:, :, None] * np.eye(len(have))
    )
    solved = np.linalg.solve(covariance, np.broadcast_to(means[:, None], (*variance.shape, 1)))
    found -= 0.5 * (np.linalg.slogdet(covariance)[1] + solved[:, :, 0] @ means)
    return np.asarray(found)


def _slopes(prior: Prior, seen: Sequence[Seen], logs: Floats) -> tuple[Floats, Floats]:
    """First derivatives, and minus the second ones, made positive definite by at least half the
    prior's."""
    size = logs.size
    one = _STEP * np.eye(size)
    pairs = [(i, j) for i in range(size) for j in range(size)]
    corners = [(1, 1), (1, -1), (-1, 1), (-1, -1)]
    points = [logs + a * one[i] + b * one[j] for i, j in pairs for a, b in corners]
    straight = [logs + sign * step for step in one for sign in (1, -1)]
    values = _log_posterior(prior, seen, np.array(points + straight))
    cross = values[: len(points)].reshape(size, size, 4) @ np.array([1.0, -1.0, -1.0, 1.0])
    curved = -cross / (4.0 * _STEP**2)
    ends = values[len(points) :].reshape(size, 2)
    gradient = (ends[:, 0] - ends[:, 1]) / (2.0 * _STEP)
    bends, vectors = np.linalg.eigh(0.5 * (curved + curved.T))
    least = 0.5 * float(np.linalg.eigvalsh(np.linalg.inv(prior.log_covariance()))[0])
    return gradient, np.asarray((vectors * np.maximum(bends, least)) @ vectors.T)


def _mode(prior: Prior, seen: Sequence[Seen]) -> tuple[Floats, Floats]:
    """The mode and its curvature, by Newton's steps that are halved where they go down."""
    logs = np.log(prior.spread_s)
    height = float(_log_posterior(prior, seen, logs[None])[0])
    for _ in range(_ROUNDS):
        gradient, curved = _slopes(prior, seen, logs)
        step = np.linalg.solve(curved, gradient)
        sizes = 0.5 ** np.arange(8)
        heights = _log_posterior(prior, seen, logs + sizes[:, None] * step)
        best = int(np.argmax(heights))
        if heights[best] - height < 1e-6:
            break
        logs, height = logs + sizes[best] * step, float(heights[best])
    return logs, _slopes(prior, seen, logs)[1]


def _biases(prior: Prior, seen: Sequence[Seen], spread: Floats, rng: np.random.Generator) -> Floats:
    """Biases given spreads: normal, one draw each."""
    precision = np.linalg.inv(prior.bias_covariance())
    counts = np.array([one.count for one in seen])
    means = np.array([one.mean_s for one in seen])
    found = np.empty_like(spread)
    for place, one in enumerate(spread):
        weight = counts / _variances(seen, one)
        covariance = np.linalg.inv(precision + np.diag(weight))
        mean = covariance @ (precision @ prior.bias_s + weight * means)
        found[place] = mean + np.linalg.cholesky(covariance) @ rng.standard_normal(one.size)
    return found
