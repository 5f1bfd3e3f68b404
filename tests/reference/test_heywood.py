"""J. B. Heywood, Internal Combustion Engine Fundamentals (1988). Quoted from memory (M)."""

import numpy as np
import pytest

from bellmouth.physics import cylinder, fuel, orifice
from tests.reference.reading import numbers, rows

# Atoms of hydrogen and of oxygen for each of carbon.
FORMULAE = {
    "isooctane C8H18": (18 / 8, 0.0),
    "n-heptane C7H16": (16 / 7, 0.0),
    "toluene C7H8": (8 / 7, 0.0),
    "gasoline CH1.87": (1.87, 0.0),
    "ethanol C2H5OH": (3.0, 0.5),
    "methanol CH3OH": (4.0, 1.0),
}


def test_critical_flow_function_of_appendix_c() -> None:
    # Eq. C.9 gives 0.685 (M); 0.684731 by pygasflow (L).
    assert pytest.approx(0.685, abs=5e-4) == orifice.CHOKED_FLOW_FUNCTION
    assert pytest.approx(0.684731, abs=1e-6) == orifice.CHOKED_FLOW_FUNCTION


@pytest.mark.parametrize("row", rows("stoichiometric"), ids=lambda row: row["fuel"])
def test_stoichiometric_ratios_of_table_d4(row: dict[str, str]) -> None:
    ratio = float(fuel.stoichiometric_ratio(*FORMULAE[row["fuel"]]))
    assert ratio == pytest.approx(float(row["handbook"]), abs=float(row["tolerance"]))
    # Eq. 3.6, evaluated independently (X).
    assert ratio == pytest.approx(float(row["element_balance"]), abs=6e-5)


@pytest.mark.parametrize("row", numbers("speed_density"))
def test_speed_density_of_eq_2_27(row: dict[str, float]) -> None:
    engine = (row["displacement_l"] * 1e-3, row["rpm"] / 60.0)
    state = (row["manifold_kPa"] * 1e3, *engine, row["T_K"])
    flow = cylinder.speed_density_kg_s(row["volumetric_efficiency"], *state)
    assert float(flow) * 1e3 == pytest.approx(row["mass_flow_g_s"], abs=1e-6)
    filling = cylinder.volumetric_efficiency(row["mass_flow_g_s"] * 1e-3, *state)
    assert float(filling) == pytest.approx(row["volumetric_efficiency"], rel=1e-6)
    stroke = cylinder.mass_per_stroke_kg(flow, row["cylinders"], engine[1])
    assert float(stroke) * 1e3 == pytest.approx(row["g_per_stroke"], abs=1e-6)


@pytest.mark.parametrize("row", numbers("ethanol_trim"))
def test_ethanol_blends_by_element_balance(row: dict[str, float]) -> None:
    # Element balance and 0.745 / 0.789 g/mL (X); E10 and E85 in a public table: 14.13, 9.7 (S).
    share = row["ethanol_volume_fraction"]
    mass = float(fuel.ethanol_mass_fraction(share))
    assert mass == pytest.approx(row["ethanol_mass_fraction"], abs=6e-7)
    ratio = float(fuel.blend_ratio(share))
    assert ratio == pytest.approx(row["stoichiometric_ratio"], abs=6e-5)
    density = float(fuel.blend_density_kg_m3(share)) / 1e3
    assert density == pytest.approx(row["density_g_ml"], abs=6e-6)
    more_mass = fuel.GASOLINE_RATIO / ratio - 1.0
    assert 100.0 * more_mass == pytest.approx(row["more_fuel_mass_pct"], abs=6e-4)
    more_time = float(fuel.injector_time_factor(share)) - 1.0
    assert 100.0 * more_time == pytest.approx(row["more_injector_time_pct"], abs=6e-4)


def test_blends_are_near_the_publicly_printed_ones() -> None:
    np.testing.assert_allclose(fuel.blend_ratio([0.1, 0.85]), [14.13, 9.7], atol=0.13)
