"""fluids: ISO 5167-3 nozzle expansibility in the limit of a small hole, and critical flow (L)."""

import math

import fluids
import pytest

from bellmouth.physics import orifice

pytestmark = pytest.mark.reference


def test_critical_pressure_ratio() -> None:
    expected = fluids.compressible.P_critical_flow(1.0, 1.4)
    assert pytest.approx(expected, rel=1e-12) == orifice.CRITICAL_PRESSURE_RATIO


@pytest.mark.parametrize("downstream_pa", [55_000.0, 70_000.0, 90_000.0, 100_000.0, 101_300.0])
def test_subsonic_flow_through_the_expansibility_factor(downstream_pa: float) -> None:
    upstream, temperature = 101_325.0, 293.15
    factor = fluids.nozzle_expansibility(1.0, 1e-6, upstream, downstream_pa, 1.4, beta=1e-6)
    density = upstream / (287.05 * temperature)
    expected = factor * math.sqrt(2.0 * density * (upstream - downstream_pa))
    flow = orifice.mass_flow_kg_s(1.0, upstream, downstream_pa, temperature)
    # Near equal pressures the two forms lose the same digits differently.
    assert float(flow) == pytest.approx(expected, rel=1e-9)
