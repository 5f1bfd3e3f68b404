"""How large a share is, from few cases: each group leans on the others as far as they agree.

A group's share has a beta prior whose middle and strength are unknown and averaged over
(hierarchical beta-binomial model: Gelman et al., *Bayesian Data Analysis*, section 5.3, from
memory). One group alone has Jeffreys' prior, Beta(1/2, 1/2).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, betaln

from bellmouth.errors import BookError

__all__ = ["Share", "share_of", "shares_of"]

Floats = NDArray[np.float64]

_MIDDLES = np.linspace(0.01, 0.99, 40)
# Cases that the groups' agreement may be worth, from nothing to nearly the same everywhere.
_STRENGTHS = np.geomspace(1.0, 1000.0, 10)
_SHARES = np.linspace(0.0, 1.0, 251)
_TAIL = 0.05


@dataclass(frozen=True)
class Share:
    """``hits`` of ``cases``, and what that says: value and nine-in-ten interval."""

    hits: int
    cases: int
    value: float
    low: float
    high: float


def share_of(hits: int, cases: int) -> Share:
    """One group alone; with no case at all, anything is possible.

    Raises
    ------
    BookError
        If there are more hits than cases, or fewer than none.
    """
    _check(hits, cases)
    a, b = np.array([hits + 0.5]), np.array([cases - hits + 0.5])
    return _share(hits, cases, a, b, np.array([1.0]))


def shares_of(counts: Sequence[tuple[int, int]]) -> tuple[Share, ...]:
    """Several groups of (hits, cases); fewer than three tell nothing about each other."""
    for hits, cases in counts:
        _check(hits, cases)
    if len(counts) < 3:
        return tuple(share_of(hits, cases) for hits, cases in counts)
    middle, strength = (one.ravel() for one in np.meshgrid(_MIDDLES, _STRENGTHS, indexing="ij"))
    a, b = middle * strength, (1.0 - middle) * strength
    log = np.zeros(a.size)
    for hits, cases in counts:
        log += betaln(a + hits, b + cases - hits) - betaln(a, b)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    return tuple(_share(hits, cases, a + hits, b + cases - hits, weight) for hits, cases in counts)


def _check(hits: int, cases: int) -> None:
    if not 0 <= hits <= cases:
        raise BookError(f"{hits} of {cases} is no share.")


def _share(hits: int, cases: int, a: Floats, b: Floats, weight: Floats) -> Share:
    """Mean and interval of a mixture of beta distributions."""
    kept = weight > 1e-3 * weight.max()
    a, b, weight = a[kept], b[kept], weight[kept] / weight[kept].sum()
    below = weight @ betainc(a[:, None], b[:, None], _SHARES[None, :])
    low, high = (float(np.interp(p, below, _SHARES)) for p in (_TAIL, 1.0 - _TAIL))
    return Share(hits, cases, float(weight @ (a / (a + b))), low, high)
