"""Total trim of a metered car: mass balance (X).

The pattern, falling with flow for a leak and flat for a meter, is published as a diagnostic at
idle in US patent 6,684,869 (2004) (S).
"""

import pytest

from bellmouth.physics import fuel, orifice
from tests.reference.reading import rows


@pytest.mark.parametrize(
    "row", rows("trim_signature"), ids=lambda row: f"{row['case']} {row['true_air_g_s']}"
)
def test_trim_rows(row: dict[str, str]) -> None:
    true_air, leak = float(row["true_air_g_s"]), float(row["leak_g_s"])
    trim = {
        "leak 2.0 mm, airflow metered": fuel.expected_trim(true_air, leak),
        "meter reads 0.92 of true": fuel.expected_trim(true_air, meter_ratio=0.92),
        "fuel delivers 0.92 of commanded": fuel.expected_trim(true_air, fuel_ratio=0.92),
        "leak 2.0 mm, pressure metered": fuel.expected_trim_pressure_metered(),
    }[row["case"]]
    assert 100.0 * float(trim) == pytest.approx(float(row["total_trim_pct"]), abs=1e-4)


@pytest.mark.parametrize("row", [row for row in rows("trim_signature") if float(row["leak_g_s"])])
def test_leak_of_the_same_rows(row: dict[str, str]) -> None:
    # A hole of 2 mm, discharge coefficient 0.8, from 101.325 kPa and 20 degC.
    area = orifice.leak_area_m2(2e-3)
    manifold = float(row["manifold_kPa"]) * 1e3
    flow = orifice.mass_flow_kg_s(area, 101_325.0, manifold, 293.15)
    assert float(flow) * 1e3 == pytest.approx(float(row["leak_g_s"]), abs=1e-6)
