"""The normal distribution, against scipy."""

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import norm

from bellmouth.finding.density import normal, normal_below


def test_density_and_distribution_are_those_that_scipy_has() -> None:
    z = np.linspace(-12, 12, 401)
    assert normal_below(z) == pytest.approx(ndtr(z), abs=3e-7)
    assert normal(z, 2.5) == pytest.approx(norm.pdf(z, scale=2.5))
