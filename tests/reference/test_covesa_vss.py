"""COVESA Vehicle Signal Specification, ``spec/OBD/OBD.vspec`` (MPL-2.0), seen in public (S).

``covesa_vss.csv`` holds the unit it gives for each parameter, in our spelling. Left out are the
wide-range sensors' currents (A there, mA in the standard) and what has no unit there.
"""

import pytest

from bellmouth.j1979 import parameters
from tests.reference.reading import rows


@pytest.mark.parametrize("row", rows("covesa_vss"), ids=lambda row: row["pid"])
def test_units(row: dict[str, str]) -> None:
    reported = parameters.by_identifier(int(row["pid"], 16))
    assert {one.unit for one in reported} == {row["unit"]}


def test_its_one_worked_number() -> None:
    # +4.5 degrees of timing is sent as (4.5 + 64) * 2 = 137.
    assert parameters.encode(0x0E, {"ignition_timing_advance": 4.5}) == bytes((137,))


def test_its_example_of_oxygen_sensors() -> None:
    # 11 hex under 13 means that 14 and 18 are present: the first sensors of banks 1 and 2.
    present = parameters.meanings("oxygen_sensors_present_two_banks", 0x11)
    assert present == ("bank 1 sensor 1", "bank 2 sensor 1")
    for identifier, bank in ((0x14, 1), (0x18, 2)):
        names = [one.name for one in parameters.by_identifier(identifier)]
        assert f"oxygen_sensor_voltage_bank_{bank}_sensor_1" in names


def test_its_map_of_four_banks() -> None:
    said = parameters.meanings("oxygen_sensors_present_four_banks", 0xFF)
    assert said == tuple(f"bank {bank} sensor {n}" for bank in (1, 2, 3, 4) for n in (1, 2))
