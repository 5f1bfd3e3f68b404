"""Numbers that checks read, as sums of normal parts."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.density import normal_below

__all__ = [
    "STRAY",
    "Parts",
    "words_of_number",
    "words_of_parts",
]

Floats = NDArray[np.float64]

STRAY = 0.03  # readings that are off for another reason


@dataclass(frozen=True)
class Parts:
    """A number that a check would read, at every node a sum of normal parts.

    ``weight`` (n, parts) adds up to one; ``mean`` and ``sd`` (n, parts, states) have a last axis
    for how the check went, such as that it had no effect, which comes with the chances ``state``
    (states,). A part is the car's and the same each time; how it went may change.
    """

    weight: Floats
    mean: Floats
    sd: Floats
    state: Floats

    @classmethod
    def one(cls, mean: Floats, sd: Floats) -> "Parts":
        """A single normal part at every node, from means and standard deviations (n,)."""
        return cls(np.ones((len(mean), 1)), mean[:, None, None], sd[:, None, None], np.ones(1))

    @classmethod
    def some(cls, weight: Floats, mean: Floats, sd: Floats) -> "Parts":
        """Several parts, each (n, parts), of a check that always goes the same way."""
        return cls(weight, mean[..., None], sd[..., None], np.ones(1))

    def moments(self) -> tuple[Floats, Floats]:
        """Mean and standard deviation of the whole at every node, (n,)."""
        share = self.weight[..., None] * self.state
        mean = (share * self.mean).sum(axis=(1, 2))
        about = (self.mean - mean[:, None, None]) ** 2
        return mean, np.sqrt((share * (self.sd**2 + about)).sum(axis=(1, 2)))


def words_of_number(edges: tuple[float, ...], parts: Parts) -> Floats:
    """Probability of each word for a number of these parts, (n, words)."""
    each = words_of_parts(edges, parts)
    return np.asarray(np.einsum("np,s,npsw->nw", parts.weight, parts.state, each))


def words_of_parts(edges: tuple[float, ...], parts: Parts) -> Floats:
    """The same for every part and state, (n, parts, states, words)."""
    all_edges = np.array([-np.inf, *edges, np.inf])
    above = normal_below((all_edges - parts.mean[..., None]) / parts.sd[..., None])
    table = np.diff(above, axis=-1)
    return np.asarray((1.0 - STRAY) * table + STRAY / table.shape[-1])
