"""CoolProp: real air (pure 'Air') and real humid air, live and as tabled (L)."""

import numpy as np
import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI
from scipy.optimize import minimize_scalar

from bellmouth.physics import air, orifice
from tests.reference.reading import numbers

pytestmark = pytest.mark.reference


@pytest.mark.parametrize("row", numbers("air_density"))
def test_density_rows(row: dict[str, float]) -> None:
    density = float(air.density_kg_m3(row["p_kPa"] * 1e3, row["T_C"] + air.KELVIN))
    assert density == pytest.approx(row["ideal_kg_m3"], abs=6e-7)
    assert density == pytest.approx(row["coolprop_kg_m3"], rel=1e-3)


@pytest.mark.parametrize("celsius", [-10.0, 15.0, 40.0, 60.0])
@pytest.mark.parametrize("kpa", [30.0, 100.0])
def test_density_is_within_a_thousandth_of_real_air(celsius: float, kpa: float) -> None:
    temperature = celsius + air.KELVIN
    real = PropsSI("D", "P", kpa * 1e3, "T", temperature, "Air")
    assert float(air.density_kg_m3(kpa * 1e3, temperature)) == pytest.approx(real, rel=1e-3)


@pytest.mark.parametrize("celsius", [-10.0, 20.0, 40.0])
def test_choked_flow_is_within_a_thousandth_of_real_air(celsius: float) -> None:
    # ISO 9300's definition of the critical flow function: the largest isentropic mass flux.
    pressure, temperature = 101_325.0, celsius + air.KELVIN
    entropy = PropsSI("S", "P", pressure, "T", temperature, "Air")
    enthalpy = PropsSI("H", "P", pressure, "T", temperature, "Air")

    def negative_flux(throat: float) -> float:
        density = PropsSI("D", "P", throat, "S", entropy, "Air")
        drop = enthalpy - PropsSI("H", "P", throat, "S", entropy, "Air")
        return -float(density * np.sqrt(2.0 * drop))

    best = minimize_scalar(negative_flux, bounds=(40e3, 70e3), method="bounded")
    flow = orifice.mass_flow_kg_s(1.0, pressure, 20e3, temperature)
    assert float(flow) == pytest.approx(-best.fun, rel=1e-3)
    assert best.x / pressure == pytest.approx(orifice.CRITICAL_PRESSURE_RATIO, abs=1e-3)


@pytest.mark.parametrize("row", numbers("orifice"))
def test_orifice_rows_of_real_air(row: dict[str, float]) -> None:
    if np.isnan(row["real_over_ideal_minus_1"]):
        assert row["mass_flow_g_s"] == 0.0
        return
    flow = orifice.mass_flow_kg_s(
        row["effective_area_mm2"] * 1e-6,
        row["p_up_kPa"] * 1e3,
        row["p_down_kPa"] * 1e3,
        row["T_up_K"],
    )
    assert float(flow) * 1e3 == pytest.approx(row["real_air_g_s"], rel=1e-3)


@pytest.mark.parametrize("row", numbers("humid_air"))
def test_humid_air_rows(row: dict[str, float]) -> None:
    pressure, temperature = row["p_kPa"] * 1e3, row["T_C"] + air.KELVIN
    vapour = air.vapour_pressure_pa(row["relative_humidity"], temperature)
    ratio = float(air.humidity_ratio(vapour, pressure))
    density = float(air.humid_density_kg_m3(pressure, temperature, vapour))
    # Real water vapour exceeds the ideal ratio by up to 0.6 %.
    assert ratio == pytest.approx(row["humidity_ratio_coolprop"], rel=6.5e-3, abs=1e-12)
    assert density == pytest.approx(row["density_coolprop"], rel=7e-4)


@pytest.mark.parametrize("celsius", [5.0, 22.0, 38.0])
def test_humid_density_live(celsius: float) -> None:
    temperature = celsius + air.KELVIN
    volume = HAPropsSI("Vha", "T", temperature, "P", 95e3, "R", 0.65)
    vapour = air.vapour_pressure_pa(0.65, temperature)
    density = float(air.humid_density_kg_m3(95e3, temperature, vapour))
    assert density == pytest.approx(1.0 / volume, rel=7e-4)
