import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.physics import orifice, throttle

BORE = st.floats(0.03, 0.09)
CLOSED = st.floats(0.0, 15.0)
SHAFT_SHARE = st.floats(0.0, 0.4)


@given(BORE, CLOSED, SHAFT_SHARE)
def test_area_rises_from_zero_closed_to_the_bore_less_its_shaft(
    bore: float, closed: float, share: float
) -> None:
    shaft = bore * share
    plate = np.linspace(closed, 90.0, 400)
    area = throttle.open_area_m2(plate, closed, bore, shaft)
    assert area[0] == pytest.approx(0.0, abs=1e-16)
    assert np.all(np.diff(area) >= -1e-15)
    half_angle = math.asin(share)
    strip = bore**2 / 2.0 * (half_angle + share * math.sqrt(1.0 - share**2))
    assert area[-1] == pytest.approx(math.pi / 4.0 * bore**2 - strip, rel=1e-12)


@given(BORE, CLOSED, SHAFT_SHARE, st.floats(0.5, 3.0))
def test_area_scales_with_the_square_of_the_body(
    bore: float, closed: float, share: float, scale: float
) -> None:
    small = float(throttle.open_area_m2(closed + 20.0, closed, bore, bore * share))
    large = float(throttle.open_area_m2(closed + 20.0, closed, scale * bore, scale * bore * share))
    assert large == pytest.approx(scale**2 * small, rel=1e-10)


def test_without_a_shaft_the_opening_is_a_circle_less_an_ellipse() -> None:
    plate = np.array([6.0, 10.0, 45.0, 90.0])
    expected = (
        math.pi / 4.0 * 0.06**2 * (1.0 - np.cos(np.radians(plate)) / math.cos(math.radians(6)))
    )
    area = throttle.open_area_m2(plate, 6.0, 0.06, 0.0)
    np.testing.assert_allclose(area, expected, atol=1e-17)


def test_below_the_closed_angle_and_past_wide_open() -> None:
    area = throttle.open_area_m2([0.0, 3.0, 6.0, 80.0, 100.0], 6.0, 0.06, 0.01)
    np.testing.assert_allclose(area[:3], 0.0, atol=1e-18)
    assert area[3] == pytest.approx(area[4], rel=1e-12)
    pressed = throttle.open_area_m2([-170.0, -90.0, -20.0, -6.1, 174.1, 200.0], 6.0, 0.06, 0.01)
    np.testing.assert_allclose(pressed, 0.0, atol=1e-18)


def test_deposit_fades_as_the_plate_opens_and_never_turns_the_area_negative() -> None:
    plate = np.linspace(6.0, 30.0, 49)
    body = (6.0, 0.06, 0.01)
    clean = throttle.effective_area_m2(plate, *body, 0.8, 3e-6)
    dirty = throttle.effective_area_m2(plate, *body, 0.8, 3e-6, 2e-6, 4.0)
    lost = clean - dirty
    assert lost[0] == pytest.approx(2e-6)
    assert np.all(np.diff(lost) < 0.0)
    assert lost[8] == pytest.approx(2e-6 / math.e)
    assert float(throttle.effective_area_m2(6.0, *body, 0.8, 1e-6, 5e-6)) == 0.0


def test_flow_is_the_orifice_flow_of_that_area_and_blows_back_when_pressed() -> None:
    area = throttle.effective_area_m2(9.0, 6.0, 0.06, 0.01, clearance_m2=2e-6)
    flow = throttle.mass_flow_kg_s(area, 101e3, 35e3, 300.0)
    assert float(flow) == float(orifice.mass_flow_kg_s(area, 101e3, 35e3, 300.0))
    assert float(throttle.mass_flow_kg_s(area, 95e3, 101e3, 300.0)) < 0.0


@given(BORE, CLOSED, st.floats(0.02, 0.3), st.floats(0.001, 0.999))
def test_angle_at_an_area_is_the_inverse(
    bore: float, closed: float, share: float, part: float
) -> None:
    body = (closed, bore, bore * share)
    wanted = part * float(throttle.open_area_m2(90.0, *body))
    angle = throttle.plate_deg_at_area(wanted, *body)
    assert float(throttle.open_area_m2(angle, *body)) == pytest.approx(wanted, rel=1e-9)


def test_angle_at_impossible_areas() -> None:
    angle = throttle.plate_deg_at_area([-1.0, 0.0, 1.0, np.nan], 6.0, 0.06, 0.01)
    np.testing.assert_allclose(angle, [6.0, 6.0, 90.0, np.nan], atol=1e-9)


def test_position_is_linear_from_closed_to_wide_open() -> None:
    angle = throttle.plate_deg_from_position([12.0, 48.5, 85.0], 12.0, 6.0)
    np.testing.assert_allclose(angle, [6.0, 48.0, 90.0])


def test_arrays_equal_the_scalar_calls_one_by_one() -> None:
    plate, bore = np.array([7.0, 20.0, 85.0]), np.array([[0.05], [0.07]])
    together = throttle.open_area_m2(plate, 6.0, bore, 0.01)
    assert together.shape == (2, 3)
    for i, j in np.ndindex(2, 3):
        assert together[i, j] == throttle.open_area_m2(plate[j], 6.0, bore[i, 0], 0.01)


def test_a_shaft_thicker_than_its_bore_is_an_error() -> None:
    with pytest.raises(ValueError, match="shaft_m") as caught:
        throttle.open_area_m2(10.0, 6.0, 0.06, 10.0)
    assert str(caught.value) == (
        "throttle.open_area_m2: shaft_m must lie between 0 and bore_m; check the units."
    )


def test_a_shaft_as_thick_as_its_bore_leaves_nothing_and_a_thicker_one_is_refused() -> None:
    assert float(throttle.open_area_m2(90.0, 6.0, 0.06, 0.06)) == pytest.approx(0.0, abs=1e-18)
    for shaft in (0.0601, -0.0001):
        with pytest.raises(ValueError, match="shaft_m"):
            throttle.open_area_m2(10.0, 6.0, 0.06, [0.01, shaft])


def test_a_body_of_which_nothing_more_is_said_is_clean_and_tight() -> None:
    body = (12.0, 6.0, 0.06, 0.01)
    geometric = float(throttle.open_area_m2(*body))
    assert float(throttle.effective_area_m2(*body)) == pytest.approx(0.8 * geometric)
    assert float(throttle.effective_area_m2(6.0, *body[1:])) == pytest.approx(0.0, abs=1e-18)
    # A deposit of which no fading is told falls to 37 % of itself over four degrees.
    lost = [
        float(throttle.effective_area_m2(a, 6.0, 0.06, 0.01, clearance_m2=2e-5))
        - float(throttle.effective_area_m2(a, 6.0, 0.06, 0.01, 0.8, 2e-5, 1e-6))
        for a in (6.0, 10.0)
    ]
    assert lost == pytest.approx([1e-6, 1e-6 / math.e], rel=1e-9)
