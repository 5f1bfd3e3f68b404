"""ASHRAE Handbook of Fundamentals, chapter 1: standard atmosphere as printed, humid air.

``atmosphere_ashrae.csv``: twelve rows in feet and psi, seen in a public copy (S).
``humid_air.csv``: PsychroLib 2.5.0, which implements the chapter (L).
"""

import numpy as np
import psychrolib
import pytest

from bellmouth.physics import air
from tests.reference.reading import numbers

pytestmark = pytest.mark.reference

FOOT_M = 0.3048


@pytest.mark.parametrize(
    "row", numbers("atmosphere_ashrae"), ids=lambda row: f"{row['altitude_ft']:g} ft"
)
def test_standard_atmosphere_rows(row: dict[str, float]) -> None:
    pressure = float(air.standard_pressure_pa(row["altitude_ft"] * FOOT_M)) / 1e3
    # The printed table rounds its 4000 ft row oddly.
    assert pressure == pytest.approx(row["printed_kPa"], rel=1.2e-3)
    assert pressure == pytest.approx(row["formula_kPa"], rel=2e-4)


@pytest.mark.parametrize("row", numbers("humid_air"))
def test_humid_air_rows(row: dict[str, float]) -> None:
    pressure, temperature = row["p_kPa"] * 1e3, row["T_C"] + air.KELVIN
    vapour = air.vapour_pressure_pa(row["relative_humidity"], temperature)
    assert float(vapour) / 1e3 == pytest.approx(row["vapour_kPa_psychrolib"], abs=6e-5)
    ratio = float(air.humidity_ratio(vapour, pressure))
    assert ratio == pytest.approx(row["humidity_ratio_psychrolib"], abs=6e-7)
    density = float(air.humid_density_kg_m3(pressure, temperature, vapour))
    # PsychroLib takes R = 287.042 for dry air, we 287.05: 3e-5.
    assert density == pytest.approx(row["density_psychrolib"], rel=5e-5)
    mole, mass = air.dry_mole_fraction(vapour, pressure), air.dry_mass_fraction(vapour, pressure)
    assert 100.0 * float(mole) == pytest.approx(row["dry_air_mole_pct"], abs=6e-4)
    # The tabled mass share comes from the real humidity ratio.
    assert 100.0 * float(mass) == pytest.approx(row["dry_air_mass_pct"], abs=0.02)


@pytest.mark.parametrize("celsius", [-40.0, -10.0, -0.5, 0.5, 20.0, 55.0, 90.0])
def test_saturation_pressure_live(celsius: float) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    expected = psychrolib.GetSatVapPres(celsius)
    assert float(air.saturation_pressure_pa(celsius + air.KELVIN)) == pytest.approx(
        expected, rel=1e-9
    )


def test_humid_density_live() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    for celsius, humidity, pressure in [(-5.0, 0.9, 99e3), (28.0, 0.4, 88e3), (44.0, 0.7, 101e3)]:
        ratio = psychrolib.GetHumRatioFromRelHum(celsius, humidity, pressure)
        expected = psychrolib.GetMoistAirDensity(celsius, ratio, pressure)
        vapour = air.vapour_pressure_pa(humidity, celsius + air.KELVIN)
        ours = air.humid_density_kg_m3(pressure, celsius + air.KELVIN, vapour)
        np.testing.assert_allclose(ours, expected, rtol=5e-5)
