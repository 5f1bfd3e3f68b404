"""Random walks in step: dynesty finds with them what it should, and what it finds without."""

import numpy as np
import pytest
from numpy.typing import NDArray

pytest.importorskip("dynesty", reason="dynesty is a test extra")
import dynesty
from dynesty.internal_samplers import RWalkSampler, SamplerArgument

from measure.walks import InStep

Floats = NDArray[np.float64]

_DIMENSIONS = 6
_SD = 0.05


class _Hill:
    """A normal well inside the cube: its log evidence is 0."""

    def transform(self, unit: Floats) -> Floats:
        return unit

    def logs(self, points: Floats) -> Floats:
        constant = _DIMENSIONS * np.log(_SD * np.sqrt(2.0 * np.pi))
        return np.asarray(-0.5 * (((points - 0.4) / _SD) ** 2).sum(axis=1) - constant)


@pytest.mark.parametrize("together", [False, True])
def test_evidence_mean_and_spread_are_those_of_a_known_hill(together: bool) -> None:
    hill = _Hill()
    pool = {"pool": InStep(hill), "queue_size": 40} if together else {}
    sampler = dynesty.NestedSampler(
        lambda point: float(hill.logs(point[None])[0]), hill.transform, _DIMENSIONS, nlive=200,
        sample="rwalk", bound="single", rstate=np.random.default_rng(3), **pool,
    )  # fmt: skip
    sampler.run_nested(dlogz=0.05, print_progress=False)
    found = sampler.results
    weights = np.exp(found.logwt - found.logz[-1])
    mean = np.average(found.samples, axis=0, weights=weights)
    sd = np.sqrt(np.average((found.samples - mean) ** 2, axis=0, weights=weights))
    assert abs(found.logz[-1]) < 0.2 + 2.5 * found.logzerr[-1]
    assert np.abs(mean - 0.4).max() < 0.2 * _SD
    assert np.abs(sd / _SD - 1.0).max() < 0.15


def test_every_walker_ends_above_what_was_asked_for() -> None:
    hill = _Hill()
    starts = 0.4 + 0.02 * np.random.default_rng(1).normal(size=(30, _DIMENSIONS))
    least = float(hill.logs(starts).min()) - 1.0
    asked = [
        SamplerArgument(
            u=start, loglstar=least, axes=0.02 * np.eye(_DIMENSIONS), scale=1.0,
            prior_transform=hill.transform, loglikelihood=None, rseed=seed, kwargs={"walks": 25},
        )
        for seed, start in enumerate(starts)
    ]  # fmt: skip
    told = InStep(hill).map(RWalkSampler.sample, asked)
    ends = np.stack([one.u for one in told])
    assert all(float(one.logl) > least for one in told)
    assert [float(one.logl) for one in told] == pytest.approx(hill.logs(ends))
    assert (np.abs(ends - starts).max(axis=1) > 0.0).all()
    assert all(sum(one.proposal_stats.values()) == one.ncalls == 25 for one in told)
