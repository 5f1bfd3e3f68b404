"""NACA Report 1135 (1953), table I, gamma 1.4. Eleven rows seen in two printed copies (S)."""

import pytest

from bellmouth.physics import orifice
from tests.reference.reading import numbers

ROWS = numbers("isentropic")


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"Mach {row['mach']:g}")
def test_flow_over_choked_flow_is_the_inverse_area_ratio(row: dict[str, float]) -> None:
    # The printed p/p0 has four digits, too few near 1; the column used is the closed form at the
    # same Mach number. The tolerance is the printed area ratio's rounding.
    psi = orifice.flow_function(row["p_over_p0"])
    ratio = orifice.CHOKED_FLOW_FUNCTION / float(psi)
    assert ratio == pytest.approx(row["A_over_Astar_printed"], abs=6e-5)


def test_critical_pressure_ratio_is_the_printed_one_at_mach_1() -> None:
    sonic = next(row for row in ROWS if row["mach"] == 1.0)
    assert pytest.approx(sonic["p_over_p0_printed"], abs=5e-5) == orifice.CRITICAL_PRESSURE_RATIO
    assert pytest.approx(0.528282, abs=1e-6) == orifice.CRITICAL_PRESSURE_RATIO


@pytest.mark.parametrize("gamma", [1.3, 1.4, 5.0 / 3.0])
def test_critical_pressure_ratio_follows_gamma(gamma: float) -> None:
    # Isentropic relation at Mach 1, written through the temperature ratio.
    temperature_ratio = 1.0 / (1.0 + (gamma - 1.0) / 2.0)
    expected = temperature_ratio ** (gamma / (gamma - 1.0))
    assert float(orifice.critical_pressure_ratio(gamma)) == pytest.approx(expected, rel=1e-14)
