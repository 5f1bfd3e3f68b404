"""pygasflow: isentropic flow tables of an ideal gas, computed live and as tabled (L).

``orifice.csv`` and ``leak_diameter.csv`` were computed with pygasflow 1.4.1 and agree with two
other routes (fluids, CoolProp); see the reference values.
"""

import numpy as np
import pytest
from pygasflow import isentropic_solver

from bellmouth.physics import orifice
from tests.reference.reading import numbers

pytestmark = pytest.mark.reference


@pytest.mark.parametrize("mach", [0.01, 0.1, 0.37, 0.72, 0.99, 1.0])
def test_flow_function_is_the_mass_flow_of_the_solved_throat(mach: float) -> None:
    solved = isentropic_solver("m", mach, 1.4)
    pressure, density, temperature = (float(value) for value in solved[1:4])
    # rho v over p0 / sqrt(R T0), from the solver's ratios alone.
    expected = density * mach * np.sqrt(1.4 * temperature)
    assert float(orifice.flow_function(pressure)) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("row", numbers("orifice"))
def test_orifice_rows(row: dict[str, float]) -> None:
    flow = orifice.mass_flow_kg_s(
        row["effective_area_mm2"] * 1e-6,
        row["p_up_kPa"] * 1e3,
        row["p_down_kPa"] * 1e3,
        row["T_up_K"],
    )
    assert float(flow) * 1e3 == pytest.approx(row["mass_flow_g_s"], rel=1e-6, abs=1e-12)
    ratio = row["p_down_kPa"] / row["p_up_kPa"]
    assert (ratio <= orifice.CRITICAL_PRESSURE_RATIO + 1e-6) == bool(row["choked"])


@pytest.mark.parametrize(
    "row", numbers("leak_diameter"), ids=lambda row: f"{row['diameter_mm']} mm"
)
def test_leak_rows(row: dict[str, float]) -> None:
    # 101.325 kPa, 20 degC before the leak, discharge coefficient 0.8.
    area = orifice.leak_area_m2(row["diameter_mm"] * 1e-3, row["discharge_coefficient"])
    assert float(area) * 1e6 == pytest.approx(row["effective_area_mm2"], rel=4e-6)
    manifold = np.array([35.0, 60.0, 80.0, 95.0])
    flow = orifice.mass_flow_kg_s(area, 101_325.0, manifold * 1e3, 293.15) * 1e3
    expected = [row[f"g_s_manifold_{kpa:.0f}_kPa"] for kpa in manifold]
    # Tabled to 1e-6 g/s.
    np.testing.assert_allclose(flow, expected, rtol=1e-6, atol=6e-7)
