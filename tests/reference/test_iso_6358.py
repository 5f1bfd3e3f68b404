"""ISO 6358-1:2013, flow equation and reference conditions, from memory (M).

The equation was also seen in two simulation manuals (S).
"""

import numpy as np
import pytest

from bellmouth.physics import orifice
from tests.reference.reading import numbers


@pytest.mark.parametrize("row", numbers("iso6358"))
def test_rows(row: dict[str, float]) -> None:
    flow = orifice.iso_6358_mass_flow_kg_s(
        row["sonic_conductance_m3_per_s_Pa"],
        row["critical_ratio"],
        row["p1_kPa"] * 1e3,
        row["p2_kPa"] * 1e3,
        row["T1_K"],
    )
    assert float(flow) * 1e3 == pytest.approx(row["mass_flow_g_s"], abs=1e-6)


def test_sonic_conductance_of_a_square_millimetre() -> None:
    # 0.19919 dm³/(s bar) at 1.185 kg/m³, 293.15 K (M); the rule S = 5.0 C of JIS B 8390: 0.2 (M).
    flow = orifice.mass_flow_kg_s(1e-6, 1e5, 0.0, 293.15)
    conductance = float(flow) / 1.185 / 1e5
    # dm³/(s bar): a thousand litres in a cubic metre, 1e5 Pa in a bar.
    assert conductance * 1e3 * 1e5 == pytest.approx(0.19919, rel=1e-4)
    assert conductance * 1e8 == pytest.approx(0.2, rel=5e-3)


def test_the_ellipse_stays_within_a_third_of_a_percent_of_isentropic_flow() -> None:
    # Largest difference 0.31 % over the whole subsonic range (X).
    critical = orifice.CRITICAL_PRESSURE_RATIO
    ratio = np.linspace(critical, 0.9999, 2000)
    ellipse = orifice.iso_6358_mass_flow_kg_s(1.0, 0.5283, 1.0, ratio, 293.15) / 1.185
    isentropic = orifice.flow_function(ratio) / orifice.CHOKED_FLOW_FUNCTION
    worst = np.max(np.abs(ellipse / isentropic - 1.0))
    assert worst == pytest.approx(0.0031, abs=2e-4)
