"""Slopes of the plate's law against finite differences, with and without a deposit."""

import numpy as np
import pytest
from numpy.typing import NDArray

from bellmouth.finding.nuisance import Unknowns, Values
from bellmouth.finding.plate_law import area_slopes, opening_slopes, plate_parts

Floats = NDArray[np.float64]

USUAL = {"slope": 1.4, "fade": 1.0, "opening": 0.9, "bypass": 1.5, "curve": 0.01}


def _parts(deposit_mm2: float, **beside: float) -> dict[str, Floats]:
    table = np.zeros((1, 1 + max(Unknowns.index(name) for name in USUAL)))
    for name, value in USUAL.items():
        table[0, Unknowns.index(name)] = value + beside.get(name, 0.0)
    deposit = np.full((1, 1), deposit_mm2)
    return plate_parts(np.array([0.0, 1.0, 8.0]), deposit, deposit, Values(table))


@pytest.mark.parametrize("deposit_mm2", [0.0, 6.0])
def test_slopes_are_the_finite_differences(deposit_mm2: float) -> None:
    here = _parts(deposit_mm2)
    area, opening = area_slopes(here), opening_slopes(here)
    for name in USUAL:
        ahead, behind = (_parts(deposit_mm2, **{name: step}) for step in (1e-5, -1e-5))
        by_area, by_opening = (
            (np.log(ahead[part]) - np.log(behind[part])) / 2e-5 for part in ("plate", "opening")
        )
        assert area[name] == pytest.approx(by_area, abs=1e-7)
        # A reading that says how far the plate is open is off by what the model has it open.
        assert -opening.get(name, np.zeros((1, 3))) == pytest.approx(by_opening, abs=1e-7)
