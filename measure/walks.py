"""dynesty's random walk, many walkers in step: the model costs hardly more for fifty than for one.

Only the steps are ours. Live points, bounds, the steps' length and the sums stay dynesty's, which
asks a pool of workers for new points; here the pool is one process that moves all of them at once.
"""

from collections.abc import Callable, Sequence
from typing import Any, Protocol

import numpy as np
from dynesty.internal_samplers import RWalkSampler, SamplerArgument, SamplerReturn
from dynesty.utils import LoglOutput
from numpy.typing import NDArray

__all__ = ["InStep", "Walked"]

Floats = NDArray[np.float64]


class Walked(Protocol):
    """Where they walk: from the unit cube to points, and the log likelihood there."""

    def transform(self, unit: Floats) -> Floats:
        """Points (n, dimensions) from places in the cube."""
        ...

    def logs(self, points: Floats) -> Floats:
        """Log likelihood, (n,)."""
        ...


class InStep:
    """A pool as dynesty wants one."""

    def __init__(self, aim: Walked) -> None:
        self._aim = aim

    def map(self, function: Callable[[Any], Any], arguments: Sequence[Any]) -> list[Any]:
        """Random walks together, anything else one after the other."""
        if function is not RWalkSampler.sample:  # prior and likelihood of the first live points
            return list(map(function, arguments))
        return self._walk(list(arguments))

    def _walk(self, asked: Sequence[SamplerArgument]) -> list[SamplerReturn]:
        """New places above the least likelihood that is asked for, by steps that are even within a
        ball of the bound's shape."""
        first = asked[0]
        rng = np.random.default_rng(first.rseed)
        place = np.stack([one.u for one in asked])
        axes = first.scale * np.stack([one.axes for one in asked])
        logs = self._aim.logs(self._aim.transform(place))
        accepted = np.zeros(len(asked), dtype=np.intp)
        for _ in range(first.kwargs["walks"]):
            step = _in_ball(rng, place.shape)
            tried = place + (axes @ step[:, :, None])[:, :, 0]
            there = np.flatnonzero(((tried > 0.0) & (tried < 1.0)).all(axis=1))
            told = self._aim.logs(self._aim.transform(tried[there]))
            good = told > float(first.loglstar)
            moved = there[good]
            place[moved], logs[moved] = tried[moved], told[good]
            accepted[moved] += 1
        points = self._aim.transform(place)
        return [
            _told(*each, first) for each in zip(place, points, logs, accepted.tolist(), strict=True)
        ]


def _in_ball(rng: np.random.Generator, shape: tuple[int, ...]) -> Floats:
    """Even within the unit ball."""
    normal = rng.normal(size=shape)
    length = rng.random(shape[0]) ** (1.0 / shape[1]) / np.linalg.norm(normal, axis=1)
    return np.asarray(normal * length[:, None])


def _told(
    place: Floats, point: Floats, log: float, accepted: int, asked: SamplerArgument
) -> SamplerReturn:
    walks = asked.kwargs["walks"]
    counts = {"accept": accepted, "reject": walks - accepted}
    return SamplerReturn(
        u=place,
        v=point,
        logl=LoglOutput(float(log), False),
        ncalls=walks,
        evaluation_history=[],
        tuning_info={**counts, "scale": asked.scale},
        proposal_stats={f"n_{name}": count for name, count in counts.items()},
    )
