import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from bellmouth.physics import cylinder, orifice

ENGINE = st.tuples(st.floats(8e-4, 6e-3), st.floats(8.0, 110.0))
FLOW = st.floats(1e-4, 0.3)


@given(FLOW, st.floats(2e4, 2e5), ENGINE, st.floats(250.0, 370.0))
def test_filling_and_flow_are_inverses(
    flow: float, pressure: float, engine: tuple[float, float], temperature: float
) -> None:
    filling = cylinder.volumetric_efficiency(flow, pressure, *engine, temperature)
    back = cylinder.speed_density_kg_s(filling, pressure, *engine, temperature)
    assert float(back) == pytest.approx(flow, rel=1e-12)


@given(FLOW, ENGINE)
def test_absolute_load_and_flow_are_inverses(flow: float, engine: tuple[float, float]) -> None:
    load = cylinder.absolute_load_pct(flow, *engine)
    assert float(cylinder.flow_from_absolute_load_kg_s(load, *engine)) == pytest.approx(flow)


@given(FLOW, FLOW, st.floats(7e4, 1.05e5), st.floats(250.0, 320.0))
def test_calculated_load_and_flow_are_inverses(
    flow: float, peak: float, barometer: float, temperature: float
) -> None:
    load = cylinder.calculated_load_pct(flow, peak, barometer, temperature)
    back = cylinder.flow_from_calculated_load_kg_s(load, peak, barometer, temperature)
    assert float(back) == pytest.approx(flow, rel=1e-12)


def test_absolute_load_is_the_mass_per_stroke_over_a_swept_volume_of_standard_air() -> None:
    stroke = cylinder.mass_per_stroke_kg(3e-3, 4, 12.0)
    expected = 100.0 * float(stroke) / (1.184 * 2e-3 / 4)
    assert float(cylinder.absolute_load_pct(3e-3, 2e-3, 12.0)) == pytest.approx(expected)


def test_filling_falls_with_manifold_pressure_and_is_whole_without_throttling() -> None:
    manifold = np.linspace(25e3, 101e3, 60)
    share = cylinder.charging_efficiency(10.0, 101e3, manifold)
    assert np.all(np.diff(share) > 0.0)
    assert share[-1] == pytest.approx(1.0)
    # More compression leaves less residual gas.
    assert np.all(cylinder.charging_efficiency(12.0, 101e3, manifold) >= share)
    filling = cylinder.mean_value_filling(manifold)
    assert np.all(np.diff(filling) > 0.0)


def test_mean_value_throttle_factor_is_flat_when_choked_and_zero_at_one() -> None:
    factor = cylinder.mean_value_throttle_factor([0.1, 0.4, 1.0, 1.3, np.nan])
    np.testing.assert_allclose(factor, [1.0, 1.0, 0.0, 0.0, np.nan], atol=1e-12)


def test_an_integrated_manifold_settles_where_the_flows_balance() -> None:
    # Two roads to one steady pressure: integrate the filling, and solve the closed form. Choked
    # inflow does not depend on the pressure, so the balance is p = flow / (flow per pascal).
    area, volume, temperature = 8e-6, 3e-3, 310.0
    inflow = float(orifice.mass_flow_kg_s(area, 101_325.0, 30e3, 293.15))
    per_pascal = float(cylinder.speed_density_kg_s(0.7, 1.0, 2e-3, 12.0, temperature))

    def rate(_: float, pressure: np.ndarray) -> np.ndarray:
        entering = orifice.signed_mass_flow_kg_s(area, 101_325.0, pressure, 293.15)
        return cylinder.manifold_pressure_rate_pa_s(
            entering, per_pascal * pressure, volume, temperature
        )

    settled = solve_ivp(rate, (0.0, 20.0), [90e3], rtol=1e-9, atol=1e-3).y[0, -1]
    assert settled == pytest.approx(inflow / per_pascal, rel=1e-6)
    assert settled < orifice.CRITICAL_PRESSURE_RATIO * 101_325.0


def test_arguments_broadcast() -> None:
    flow = cylinder.speed_density_kg_s([[0.6], [0.8]], [3e4, 5e4, 9e4], 2e-3, 20.0, 310.0)
    assert flow.shape == (2, 3)
    assert flow[1, 2] == cylinder.speed_density_kg_s(0.8, 9e4, 2e-3, 20.0, 310.0)
