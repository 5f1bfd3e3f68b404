import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.physics import fuel

TRIM = st.floats(-0.5, 0.5)
SHARE = st.floats(0.0, 1.0)


def test_the_two_conventions_differ_by_the_product() -> None:
    # +10 and +12 %: 22 or 23.2 %.
    assert float(fuel.total_trim_additive(0.10, 0.12)) == pytest.approx(0.22)
    assert float(fuel.total_trim_multiplicative(0.10, 0.12)) == pytest.approx(0.232)


@given(TRIM, TRIM)
def test_total_trims_in_general(short: float, long: float) -> None:
    whole = float(fuel.total_trim_multiplicative(short, long))
    assert 1.0 + whole == pytest.approx((1.0 + short) * (1.0 + long))
    added = float(fuel.total_trim_additive(short, long))
    assert whole - added == pytest.approx(short * long, abs=1e-15)


def test_burning_by_counting_atoms() -> None:
    # C8H18 + 12.5 O2: an independent count with the masses of air's parts, Heywood's 3.773 N2.
    air = 12.5 * (31.998 + 3.773 * 28.16)
    fuel_mass = 8 * 12.011 + 18 * 1.008
    assert float(fuel.stoichiometric_ratio(18 / 8)) == pytest.approx(air / fuel_mass, rel=2e-4)


@given(SHARE)
def test_blends_lie_between_their_parts(share: float) -> None:
    assert fuel.ETHANOL_RATIO <= float(fuel.blend_ratio(share)) <= fuel.GASOLINE_RATIO
    # Mass fraction against volume fraction: ethanol is the denser of the two.
    assert float(fuel.ethanol_mass_fraction(share)) >= share - 1e-15
    assert float(fuel.injector_time_factor(share, share)) == pytest.approx(1.0)


@given(SHARE, SHARE)
def test_a_factor_there_and_back_is_one(one: float, other: float) -> None:
    there = float(fuel.injector_time_factor(one, other))
    assert there * float(fuel.injector_time_factor(other, one)) == pytest.approx(1.0)


def test_a_leak_fades_with_flow_where_a_meter_error_stays() -> None:
    air = np.array([2.0, 4.0, 8.0, 30.0])
    leak = fuel.expected_trim(air, leak_kg_s=0.3)
    meter = fuel.expected_trim(air, meter_ratio=0.9)
    assert np.all(np.diff(leak) < 0.0)
    np.testing.assert_allclose(meter, 1.0 / 0.9 - 1.0)
    np.testing.assert_allclose(fuel.expected_trim(air, fuel_ratio=0.9), meter)
    np.testing.assert_allclose(fuel.expected_trim(air), 0.0)


@given(st.floats(1e-3, 0.1), st.floats(0.0, 0.5), st.floats(0.7, 1.3), st.floats(0.7, 1.3), SHARE)
def test_with_the_expected_trim_the_mixture_is_right(
    air: float, leaked: float, meter: float, delivery: float, ethanol: float
) -> None:
    # Closing the loop by hand: fuel from metered air, trimmed, delivered by volume, burnt.
    factor = float(fuel.injector_time_factor(ethanol))
    trim = float(fuel.expected_trim(air, leaked * air, meter, delivery, factor))
    time = meter * (1.0 - leaked) * air / fuel.GASOLINE_RATIO * (1.0 + trim)
    density = np.sqrt(fuel.blend_density_kg_m3(ethanol) / fuel.GASOLINE_DENSITY_KG_M3)
    burnt = time * delivery * float(density)
    ratio = fuel.equivalence_ratio(air, burnt, fuel.blend_ratio(ethanol))
    assert float(ratio) == pytest.approx(1.0)


def test_a_pressure_metered_car_trims_its_own_error_alone() -> None:
    assert float(fuel.expected_trim_pressure_metered(0.92)) == pytest.approx(1 / 0.92 - 1)
    assert float(fuel.expected_trim_pressure_metered(1.1, 0.9, 1.04)) == pytest.approx(
        1.04 / 0.99 - 1.0
    )


@given(st.floats(1e-3, 0.1), st.floats(1e-5, 1e-2))
def test_excess_of_air_is_the_inverse_of_the_equivalence_ratio(air: float, burnt: float) -> None:
    product = fuel.equivalence_ratio(air, burnt) * fuel.air_excess_ratio(air, burnt)
    assert float(product) == pytest.approx(1.0)


def test_a_percentage_of_ethanol_is_an_error_that_says_so() -> None:
    with pytest.raises(ValueError, match="ethanol") as caught:
        fuel.blend_ratio([0.1, 85.0])
    assert str(caught.value) == (
        "fuel: a volume fraction of ethanol must lie between 0 and 1; divide a percentage by 100."
    )


@pytest.mark.parametrize("share", [-0.001, 1.001])
def test_a_share_a_little_outside_its_range_is_refused(share: float) -> None:
    with pytest.raises(ValueError, match="volume fraction"):
        fuel.injector_time_factor(share)
    with pytest.raises(ValueError, match="volume fraction"):
        fuel.injector_time_factor(0.1, share)
