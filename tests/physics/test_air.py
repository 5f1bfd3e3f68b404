import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from bellmouth.physics import air


def test_density_is_proportional_to_pressure_and_inverse_to_temperature() -> None:
    one = air.density_kg_m3(1e5, 300.0)
    assert float(air.density_kg_m3(2e5, 300.0)) == pytest.approx(2.0 * float(one))
    assert float(air.density_kg_m3(1e5, 600.0)) == pytest.approx(0.5 * float(one))
    assert air.density_kg_m3([[1e5], [9e4]], [280.0, 300.0]).shape == (2, 2)


def test_pressure_falls_with_height_without_a_jump_at_the_tropopause() -> None:
    height = np.linspace(-5_000.0, 20_000.0, 2501)
    pressure = air.standard_pressure_pa(height)
    assert np.all(np.diff(pressure) < 0.0)
    slope = np.diff(np.log(pressure))
    assert np.max(np.abs(np.diff(slope))) < 1e-5


@given(st.floats(-5_000.0, 20_000.0))
@example(-5_000.0)
@example(20_000.0)
def test_altitude_is_the_inverse_of_pressure(height: float) -> None:
    back = float(air.standard_altitude_m(air.standard_pressure_pa(height)))
    assert back == pytest.approx(height, abs=1e-7)


def test_hydrostatic_balance_holds_everywhere() -> None:
    # dp = -rho g dh, the equation that the closed forms solve.
    height = np.linspace(-4_000.0, 19_000.0, 47)
    step = 0.5
    slope = (air.standard_pressure_pa(height + step) - air.standard_pressure_pa(height - step)) / (
        2.0 * step
    )
    weight = air.standard_density_kg_m3(height) * air.STANDARD_GRAVITY_M_S2
    np.testing.assert_allclose(slope, -weight, rtol=2e-5)


@given(st.floats(-5_000.0, 20_000.0))
def test_geometric_and_geopotential_are_inverses(height: float) -> None:
    geometric = air.geometric_from_geopotential_m(height)
    assert float(air.geopotential_from_geometric_m(geometric)) == pytest.approx(height, abs=1e-8)
    assert float(geometric) >= height - 1e-9


@given(st.floats(0.0, 1.0), st.floats(250.0, 330.0), st.floats(7e4, 1.1e5))
def test_humid_air_is_lighter_than_dry_and_keeps_its_books(
    humidity: float, temperature: float, pressure: float
) -> None:
    vapour = air.vapour_pressure_pa(humidity, temperature)
    humid = float(air.humid_density_kg_m3(pressure, temperature, vapour))
    dry = float(air.density_kg_m3(pressure, temperature))
    assert humid <= dry
    # The dry share of the mixture is dry air at its own partial pressure.
    share = humid * float(air.dry_mass_fraction(vapour, pressure))
    alone = float(air.density_kg_m3(pressure - float(vapour), temperature))
    assert share == pytest.approx(alone, rel=1e-12)


def test_saturation_pressure_rises_and_meets_at_the_triple_point() -> None:
    temperature = np.linspace(230.0, 370.0, 1401)
    assert np.all(np.diff(air.saturation_pressure_pa(temperature)) > 0.0)
    below, above = air.saturation_pressure_pa([273.16, 273.16 + 1e-9])
    assert below == pytest.approx(611.657, rel=2e-4)  # triple point of water
    assert above == pytest.approx(below, rel=1e-4)


def test_nan_stays_nan() -> None:
    assert np.isnan(air.standard_pressure_pa(np.nan))
    assert np.isnan(air.standard_altitude_m(np.nan))
    assert np.isnan(air.saturation_pressure_pa(np.nan))
    assert np.isnan(air.density_kg_m3(1e5, np.nan))


def test_errors_name_the_argument_its_range_and_the_likely_mistake() -> None:
    with pytest.raises(ValueError, match="geopotential_m") as caught:
        air.standard_temperature_k([0.0, 25_000.0])
    assert str(caught.value) == (
        "air: geopotential_m must lie between -5000 and 20000 m; check the unit."
    )
    with pytest.raises(ValueError, match="pressure_pa") as caught:
        air.standard_altitude_m(101.3)
    assert str(caught.value) == (
        "air.standard_altitude_m: pressure_pa must lie between 5475 and 177686 Pa; check the unit."
    )
    assert air.standard_altitude_m([5475.0, 177_686.0]) == pytest.approx([20e3, -5e3], abs=0.5)
    with pytest.raises(ValueError, match="temperature_k") as caught:
        air.saturation_pressure_pa(25.0)
    assert str(caught.value) == (
        "air.saturation_pressure_pa: temperature_k must lie between 173.15 and 473.15 K; "
        "check the unit."
    )
    with pytest.raises(ValueError, match="relative_humidity") as caught:
        air.vapour_pressure_pa(55.0, 293.15)
    assert str(caught.value) == (
        "air.vapour_pressure_pa: relative_humidity must lie between 0 and 1; "
        "divide a percentage by 100."
    )


@pytest.mark.parametrize("good", [(173.15, 0.0), (473.15, 1.0)])
def test_the_ends_of_the_ranges_are_inside(good: tuple[float, float]) -> None:
    temperature, humidity = good
    whole = float(air.saturation_pressure_pa(temperature))
    assert float(air.vapour_pressure_pa(humidity, temperature)) == humidity * whole


@pytest.mark.parametrize("bad", [(173.1, 0.5), (473.2, 0.5), (300.0, -0.001), (300.0, 1.001)])
def test_a_little_outside_a_range_is_refused(bad: tuple[float, float]) -> None:
    temperature, humidity = bad
    with pytest.raises(ValueError, match="must lie between"):
        air.vapour_pressure_pa(humidity, temperature)
    # One among good ones is enough.
    with pytest.raises(ValueError, match="must lie between"):
        air.vapour_pressure_pa([0.5, humidity, 0.5], [300.0, temperature, 290.0])


def test_one_pressure_out_of_range_among_good_ones_is_refused() -> None:
    for bad in (101.3, 200e3):
        with pytest.raises(ValueError, match="pressure_pa must lie between"):
            air.standard_altitude_m([101_325.0, bad])
