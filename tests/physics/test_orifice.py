import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.physics import orifice

PRESSURES = st.floats(1e3, 3e5)
TEMPERATURES = st.floats(230.0, 400.0)
AREAS = st.floats(1e-9, 5e-3)


def test_no_flow_at_equal_pressures_or_without_a_hole() -> None:
    assert float(orifice.mass_flow_kg_s(1e-6, 1e5, 1e5, 290.0)) == 0.0
    assert float(orifice.mass_flow_kg_s(0.0, 1e5, 3e4, 290.0)) == 0.0


def test_choked_flow_does_not_feel_the_downstream_pressure() -> None:
    downstream = np.array([0.0, 1e3, 35e3, 53e3, 53_528.0])
    flow = orifice.mass_flow_kg_s(1e-6, 101_325.0, downstream, 293.15)
    np.testing.assert_allclose(flow, flow[0], rtol=1e-9)
    psi = float(orifice.flow_function(0.0))
    assert psi == pytest.approx(orifice.CHOKED_FLOW_FUNCTION, rel=1e-14)


def test_flow_function_is_continuous_and_falls_once_unchoked() -> None:
    ratio = np.linspace(orifice.CRITICAL_PRESSURE_RATIO, 1.0, 5001)
    psi = orifice.flow_function(ratio)
    assert np.all(np.diff(psi) < 0.0)
    assert psi[0] == pytest.approx(orifice.CHOKED_FLOW_FUNCTION, rel=1e-14)
    assert psi[-1] == 0.0
    # Smooth at the joint: the slope starts from zero.
    assert psi[0] - psi[1] < 1e-3 * (ratio[1] - ratio[0])


def test_flow_function_is_the_textbook_form_with_two_powers() -> None:
    ratio = np.linspace(0.53, 0.999, 50)
    textbook = np.sqrt(2.8 / 0.4 * (ratio ** (2 / 1.4) - ratio ** (2.4 / 1.4)))
    np.testing.assert_allclose(orifice.flow_function(ratio), textbook, rtol=1e-11)


def test_a_ratio_above_one_gives_no_flow_and_nan_stays_nan() -> None:
    psi = orifice.flow_function([1.2, np.nan, np.inf])
    np.testing.assert_array_equal(psi, [0.0, np.nan, 0.0])
    assert np.isnan(orifice.mass_flow_kg_s(1e-6, 1e5, np.nan, 290.0))


@given(AREAS, PRESSURES, PRESSURES, TEMPERATURES)
def test_signed_flow_turns_its_sign_with_the_pressures(
    area: float, one: float, other: float, temperature: float
) -> None:
    there = float(orifice.signed_mass_flow_kg_s(area, one, other, temperature))
    back = float(orifice.signed_mass_flow_kg_s(area, other, one, temperature))
    assert there == -back
    assert np.sign(there) == np.sign(one - other) or abs(one / other - 1.0) < 1e-12


@given(AREAS, PRESSURES, st.floats(0.0, 0.9999), TEMPERATURES)
def test_area_from_flow_is_the_inverse(
    area: float, upstream: float, ratio: float, temperature: float
) -> None:
    state = (upstream, upstream * ratio, temperature)
    flow = orifice.mass_flow_kg_s(area, *state)
    assert float(orifice.effective_area_from_flow_m2(flow, *state)) == pytest.approx(
        area, rel=1e-12
    )
    doubled = orifice.mass_flow_kg_s(2.0 * area, *state)
    assert float(doubled) == pytest.approx(2.0 * float(flow), rel=1e-14)


def test_reverse_flow_cools_by_the_outlet_temperature() -> None:
    flow = orifice.signed_mass_flow_kg_s(1e-6, 9e4, 1e5, 290.0, 350.0)
    assert float(flow) == -float(orifice.mass_flow_kg_s(1e-6, 1e5, 9e4, 350.0))


def test_area_from_flow_at_equal_pressures_is_infinite() -> None:
    assert float(orifice.effective_area_from_flow_m2(1e-3, 1e5, 1e5, 290.0)) == np.inf


@given(st.floats(0.0, 0.05), st.floats(0.3, 1.0))
def test_leak_diameter_and_area_are_inverses(diameter: float, discharge: float) -> None:
    area = orifice.leak_area_m2(diameter, discharge)
    back = float(orifice.leak_diameter_m(area, discharge))
    assert back == pytest.approx(diameter, rel=1e-12, abs=1e-150)


def test_arrays_equal_the_scalar_calls_one_by_one() -> None:
    area, downstream = np.array([[1e-6], [3e-6]]), np.array([20e3, 60e3, 99e3])
    together = orifice.mass_flow_kg_s(area, 1e5, downstream, 300.0)
    assert together.shape == (2, 3)
    for i, j in np.ndindex(2, 3):
        assert together[i, j] == orifice.mass_flow_kg_s(area[i, 0], 1e5, downstream[j], 300.0)


def test_reversed_pressures_are_an_error_that_says_what_to_do() -> None:
    with pytest.raises(ValueError, match="downstream") as caught:
        orifice.mass_flow_kg_s(1e-6, 1e5, [9e4, 1.1e5], 290.0)
    assert str(caught.value) == (
        "orifice.mass_flow_kg_s: downstream_pa exceeds upstream_pa; "
        "swap them or use signed_mass_flow_kg_s."
    )


def test_iso_6358_limits() -> None:
    flow = orifice.iso_6358_mass_flow_kg_s(1e-8, 0.4, 6e5, [0.0, 2.4e5, 6e5], 293.15)
    assert flow[0] == flow[1] == pytest.approx(1e-8 * 1.185 * 6e5)
    assert flow[2] == 0.0
