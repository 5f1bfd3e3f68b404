"""Sizes: what no reading tells of a deposit, and how that widens its interval."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from bellmouth.finding.case import solve
from bellmouth.finding.causes import SINGLE_CAUSES
from bellmouth.finding.priors import load_priors
from bellmouth.finding.sizes import Z90, _doubted, sizes_of, told_log_sd
from tests.finding.garage import car, stretches

Floats = NDArray[np.float64]

# Laws by which a deposit may fade as the plate opens, over one length: none is published.
_LAWS: list[Callable[[Floats], Floats]] = [
    lambda x: np.asarray(1.0 / (1.0 + x**2)),
    lambda x: np.asarray(np.exp(-(x**2))),
    lambda x: np.asarray(np.maximum(1.0 - x / 2.0, 1e-3)),
]


def _told_too_large(law: Callable[[Floats], Floats]) -> Floats:
    """Logarithm by which a deposit is told too large at the stop, if value and slope at the idle
    are right and an exponential leads on from there; idles at up to two thirds of the length."""
    x = np.linspace(0.05, 0.65, 13)
    step = 1e-5
    slope = -(np.log(law(x + step)) - np.log(law(x - step))) / (2 * step)
    return np.asarray(slope * x + np.log(law(x)))


def test_the_way_to_the_stop_is_doubted_as_far_as_laws_differ() -> None:
    said = told_log_sd("deposit", load_priors())
    rms = [float(np.sqrt(np.mean(_told_too_large(law) ** 2))) for law in _LAWS]
    assert 0.5 * max(rms) < said < 1.5 * max(rms)


def test_only_a_deposit_is_told_where_nothing_idles() -> None:
    priors = load_priors()
    assert [c for c in SINGLE_CAUSES if told_log_sd(c, priors) > 0] == ["deposit"]


def test_half_widths_add_as_squares() -> None:
    case = solve(stretches(deposit_mm2=6.0), [stretches()], car())
    doubted = sizes_of(case)["deposit"]["deposit"]
    plate = {**case.priors.plate, "deposit_told_log_sd": 0.0}
    certain = replace(case, priors=replace(case.priors, plate=plate))
    bare = sizes_of(certain)["deposit"]["deposit"]
    assert doubted.value == pytest.approx(bare.value)
    added = Z90 * told_log_sd("deposit", load_priors())
    for end in ("low", "high"):
        before, after = (np.log(getattr(s, end) / s.value) for s in (bare, doubted))
        assert after == pytest.approx(np.sign(before) * np.hypot(before, added))


def test_an_interval_of_no_width_is_doubted_on_both_sides() -> None:
    low, middle, high = _doubted(np.array([1.0, 1.0, 1.4]), 0.2)
    assert (low, middle) == pytest.approx((1.0 - Z90 * 0.2, 1.0))
    assert high == pytest.approx(1.0 + np.hypot(0.4, Z90 * 0.2))


@pytest.mark.parametrize("leak_mm", [2.65, 3.0, 3.2])
def test_a_leak_of_half_of_all_idle_air_has_its_whole_interval(leak_mm: float) -> None:
    """.38 to .56 of it: the interval ended at .45, or .40 where the trims were large."""
    case = solve(stretches(leak_mm=leak_mm), [], car())
    told = sizes_of(case, ["leak"])["leak"]["leak"]
    assert told.low < leak_mm < told.high
    assert np.log(told.high / told.value) == pytest.approx(np.log(told.value / told.low), rel=0.4)
