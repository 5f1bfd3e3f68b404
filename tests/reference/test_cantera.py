"""cantera: stoichiometric air/fuel ratios, live and as tabled with 3.2.0 (L)."""

import cantera
import pytest

from bellmouth.physics import fuel
from tests.reference.reading import rows
from tests.reference.test_heywood import FORMULAE

pytestmark = pytest.mark.reference

# Dry air by mole: its composition matters more than the fuel's data.
AIR = {"O2": 20.95, "N2": 78.09, "AR": 0.93, "CO2": 0.04}


def solved_ratio(hydrogen: float, oxygen: float) -> float:
    atoms = {
        "fuel": {"C": 1.0, "H": hydrogen, "O": oxygen},
        "O2": {"O": 2.0},
        "N2": {"N": 2.0},
        "AR": {"Ar": 1.0},
        "CO2": {"C": 1.0, "O": 2.0},
    }
    species = []
    for name, composition in atoms.items():
        one = cantera.Species(name, {key: count for key, count in composition.items() if count})
        one.thermo = cantera.ConstantCp(200.0, 5000.0, 101_325.0, [298.15, 0.0, 0.0, 3e4])
        species.append(one)
    gas = cantera.Solution(thermo="ideal-gas", species=species)
    return float(gas.stoich_air_fuel_ratio("fuel", AIR))


@pytest.mark.parametrize("name", FORMULAE)
def test_stoichiometric_ratio_live(name: str) -> None:
    ratio = float(fuel.stoichiometric_ratio(*FORMULAE[name]))
    assert ratio == pytest.approx(solved_ratio(*FORMULAE[name]), rel=5e-4)


@pytest.mark.parametrize(
    "row",
    [row for row in rows("stoichiometric") if row["cantera_dry_air"]],
    ids=lambda row: row["fuel"],
)
def test_stoichiometric_rows(row: dict[str, str]) -> None:
    ratio = float(fuel.stoichiometric_ratio(*FORMULAE[row["fuel"]]))
    assert ratio == pytest.approx(float(row["cantera_dry_air"]), rel=5e-4)
