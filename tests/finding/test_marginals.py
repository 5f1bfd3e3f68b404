"""`bellmouth.finding.marginals` against the normal density written out."""

import numpy as np
import pytest
from numpy.typing import NDArray

from bellmouth.finding.marginals import marginals

Floats = NDArray[np.float64]


def _plain(offset: Floats, jacobian: Floats, own: Floats) -> float:
    """The logarithm of a normal density of mean zero, less ``log(2 pi)`` each reading."""
    covariance = own + jacobian @ jacobian.T
    sign, log_det = np.linalg.slogdet(covariance)
    assert sign > 0
    return float(-0.5 * (offset @ np.linalg.solve(covariance, offset) + log_det))


@pytest.mark.parametrize("readings", [1, 5, 9, 40])
@pytest.mark.parametrize("nodes", [1, 3])
def test_it_is_the_density_of_readings_whose_unknowns_nobody_knows(
    readings: int, nodes: int
) -> None:
    """With fewer readings than unknowns and with many more, one node a row and several."""
    rng = np.random.default_rng(7)
    rows, scales = 4, 2
    root = 0.1 * rng.normal(size=(scales, readings, readings))
    covariances = root @ np.swapaxes(root, 1, 2) + 1e-3 * np.eye(readings)
    jacobian = rng.normal(size=(rows, readings, 6))
    offset = rng.normal(size=(rows * nodes, readings))
    # Rows in another order than their nodes stand in, as in a mesh.
    order = np.arange(rows) if nodes == 1 else np.array([2, 0, 3, 1])
    found = marginals(offset, jacobian, ((order, 0, nodes),), covariances)
    expected = [
        [_plain(one, jacobian[order[at // nodes]], own) for at, one in enumerate(offset)]
        for own in covariances
    ]
    assert np.allclose(found, expected, rtol=1e-9)


@pytest.mark.parametrize("readings", [1, 2, 9])
@pytest.mark.parametrize("nodes", [1, 3])
def test_a_last_reading_that_is_doubted_is_a_scale_like_any_other(
    readings: int, nodes: int
) -> None:
    """Each scale with the last reading believed, then with its variance widened."""
    rng = np.random.default_rng(8)
    rows = 4
    root = 0.1 * rng.normal(size=(2, readings, readings))
    plain = root @ np.swapaxes(root, 1, 2) + 1e-3 * np.eye(readings)
    wide = plain.copy()
    wide[:, -1, -1] += np.array([0.3, 2.0])
    jacobian = rng.normal(size=(rows, readings, 6))
    offset = rng.normal(size=(rows * nodes, readings))
    blocks = ((np.arange(rows), 0, nodes),)
    together = marginals(offset, jacobian, blocks, np.concatenate([plain, wide]))
    for place, own in enumerate((*plain, *wide)):
        expected = [_plain(x, jacobian[at // nodes], own) for at, x in enumerate(offset)]
        assert np.allclose(together[place], expected, rtol=1e-9)


@pytest.mark.parametrize("each", [1, 4])
def test_without_readings_nothing_is_said(each: int) -> None:
    """Every node is as likely as any other."""
    nothing = np.zeros((2 * each, 0))
    blocks = ((np.arange(2), 0, each),)
    found = marginals(nothing, np.zeros((2, 0, 6)), blocks, np.zeros((3, 0, 0)))
    assert found.shape == (3, 2 * each)
    assert not found.any()
