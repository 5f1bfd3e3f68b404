"""The reliability table against scipy's binomial and scikit-learn's curve, and against itself."""

import numpy as np
import pytest
from scipy import stats

from measure.reliability import calibration_error, reliability


def test_band_is_the_binomials_where_every_prediction_is_alike() -> None:
    confidence = np.full(200, 0.75)
    found = reliability(confidence, np.ones(200, dtype=bool))
    (only,) = found.bins
    low, high = stats.binom.interval(0.95, 200, 0.75)
    assert only.band_low == pytest.approx(low / 200, abs=0.011)
    assert only.band_high == pytest.approx(high / 200, abs=0.011)
    assert not only.inside


def test_table_is_scikit_learns_curve() -> None:
    calibration = pytest.importorskip("sklearn.calibration", reason="scikit-learn: test extra")
    rng = np.random.default_rng(1)
    confidence = rng.random(2000)
    right = rng.random(2000) < confidence**1.5
    observed, predicted = calibration.calibration_curve(right, confidence, n_bins=10)
    found = reliability(confidence, right)
    assert [b.observed for b in found.bins] == pytest.approx(list(observed))
    assert [b.predicted for b in found.bins] == pytest.approx(list(predicted))


def test_calibrated_tools_stay_below_the_bound_nineteen_times_in_twenty() -> None:
    rng = np.random.default_rng(2)
    below = 0
    for _ in range(60):
        confidence = rng.uniform(0.2, 1.0, 150)
        found = reliability(confidence, rng.random(150) < confidence)
        below += found.error <= found.bound
    # 60 draws at 95 %: fewer than 52 has a chance below one in a thousand.
    assert below >= 52


def test_an_overconfident_tool_exceeds_the_bound() -> None:
    rng = np.random.default_rng(3)
    confidence = np.full(400, 0.95)
    found = reliability(confidence, rng.random(400) < 0.8)
    assert found.error > found.bound


def test_calibration_error_by_hand() -> None:
    confidence = np.array([0.55, 0.55, 0.95, 0.95])
    right = np.array([True, False, True, True])
    # |0.5 - 0.55| and |1 - 0.95|, half of the cases each.
    assert calibration_error(confidence, right) == pytest.approx(0.05)


def test_a_probability_of_one_is_in_the_last_bin() -> None:
    found = reliability(np.array([1.0, 0.91]), np.array([True, True]))
    assert [b.cases for b in found.bins] == [2]
