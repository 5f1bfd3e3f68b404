"""U.S. Standard Atmosphere 1976 (ISO 2533, ICAO Doc 7488).

``atmosphere.csv``: three libraries agree to 0.05 Pa (L); the constants were seen in print (S).
"""

import ambiance
import fluids
import numpy as np
import pytest
import ussa1976

from bellmouth.physics import air
from tests.reference.reading import numbers

pytestmark = pytest.mark.reference


@pytest.mark.parametrize(
    "row", numbers("atmosphere"), ids=lambda row: f"{row['geopotential_m']:g} m"
)
def test_rows(row: dict[str, float]) -> None:
    height = row["geopotential_m"]
    assert float(air.standard_pressure_pa(height)) == pytest.approx(
        row["pressure_kPa"] * 1e3, abs=0.1
    )
    assert float(air.standard_temperature_k(height)) == pytest.approx(row["T_K"], abs=1e-9)
    assert float(air.standard_density_kg_m3(height)) == pytest.approx(
        row["density_kg_m3"], abs=6e-6
    )
    geometric = float(air.geometric_from_geopotential_m(height))
    assert geometric == pytest.approx(row["geometric_m"], abs=6e-3)


# The libraries take geometric height, ours geopotential: at 4000 m they are 2.5 m apart.
GEOMETRIC = np.array([-1000.0, 0.0, 350.0, 1609.3, 4000.0, 9000.0, 15_000.0])


def test_against_ambiance() -> None:
    theirs = ambiance.Atmosphere(GEOMETRIC)
    ours = air.geopotential_from_geometric_m(GEOMETRIC)
    np.testing.assert_allclose(air.standard_pressure_pa(ours), theirs.pressure, rtol=0, atol=0.05)
    np.testing.assert_allclose(air.standard_temperature_k(ours), theirs.temperature, rtol=1e-6)
    np.testing.assert_allclose(air.standard_density_kg_m3(ours), theirs.density, rtol=5e-6)


def test_against_fluids() -> None:
    ours = air.geopotential_from_geometric_m(GEOMETRIC)
    theirs = [fluids.ATMOSPHERE_1976(float(height)).P for height in GEOMETRIC]
    np.testing.assert_allclose(air.standard_pressure_pa(ours), theirs, rtol=0, atol=0.05)


def test_against_ussa1976() -> None:
    heights = GEOMETRIC[GEOMETRIC >= 0.0]
    theirs = ussa1976.compute(z=heights, variables=["p", "t"])
    ours = air.geopotential_from_geometric_m(heights)
    pressure = air.standard_pressure_pa(ours)
    np.testing.assert_allclose(pressure, theirs["p"].values, rtol=0, atol=0.05)
    np.testing.assert_allclose(air.standard_temperature_k(ours), theirs["t"].values, rtol=1e-6)
