"""SAE J1979 / ISO 15031-5: parameters, bit fields, loads.

``j1979.csv`` and ``j1979_bits.csv`` name the evidence of each row in their last column; what is
marked there as memory has not been compared with the standard's own text (M).
"""

import re

import pint
import pytest

from bellmouth.j1979 import codes, parameters
from bellmouth.j1979.messages import POSITIVE, Service
from bellmouth.physics import air, cylinder
from tests.reference.reading import numbers, rows

ROWS = rows("j1979")
BITS = rows("j1979_bits")
FULL_NAME = {"not supported", "supported complete", "supported incomplete"}


def tolerance(value: float, unit: str) -> float:
    # Editions scale ratios with 2/65536 or 2/65535. Tabled values have six decimals.
    return max(4e-5 if unit == "ratio" else 1e-6, 1e-6 * abs(value))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['pid']} {row['name']}")
@pytest.mark.parametrize("example", ["example", "example2"])
def test_examples_decode_and_encode_back(row: dict[str, str], example: str) -> None:
    identifier, data = int(row["pid"], 16), bytes.fromhex(row[f"{example}_hex"])
    values = parameters.decode(identifier, data)
    value = values[row["name"]]
    if row[f"{example}_value"] == "":
        assert value is None
    else:
        expected = float(row[f"{example}_value"])
        assert value == pytest.approx(expected, abs=tolerance(expected, row["unit"]))
    assert parameters.encode(identifier, values) == data


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['pid']} {row['name']}")
def test_unit_length_range_and_resolution(row: dict[str, str]) -> None:
    ours = parameters.by_name(row["name"])
    assert (ours.identifier, ours.unit, ours.bytes) == (
        int(row["pid"], 16),
        row["unit"],
        int(row["bytes"]),
    )
    assert ours.least == pytest.approx(float(row["min"]), abs=1e-5)
    assert ours.most == pytest.approx(float(row["max"]), abs=1e-5)
    assert ours.resolution == pytest.approx(float(row["resolution"]), rel=2e-5)


@pytest.mark.parametrize("row", [r for r in BITS if r["kind"].startswith("supported")])
def test_supported_masks(row: dict[str, str]) -> None:
    identifier = int(row["kind"].removeprefix("supported_"), 16)
    expected = tuple(int(pid, 16) for pid in row["expected"].split())
    mask = bytes.fromhex(row["hex"])
    assert parameters.supported(identifier, mask) == expected
    assert parameters.encode_supported(identifier, expected) == mask


@pytest.mark.parametrize("row", [r for r in BITS if r["kind"] == "monitor_status_01"])
def test_monitor_status(row: dict[str, str]) -> None:
    data = bytes.fromhex(row["hex"])
    status = codes.decode_monitor_status(data)
    if row["expected"] in FULL_NAME:
        assert status.monitors[row["field"]] == row["expected"]
    elif row["field"] == "ignition":
        assert status.ignition == row["expected"]
    else:
        assert int(getattr(status, row["field"])) == int(row["expected"])


@pytest.mark.parametrize("row", [r for r in BITS if r["kind"] == "fuel_system_status_03"])
def test_fuel_system_status(row: dict[str, str]) -> None:
    values = parameters.decode(0x03, bytes.fromhex(row["hex"]))
    name = {"system_1": "fuel_system_status", "system_2": "fuel_system_status_bank_2"}
    code = values[name[row["field"]]]
    assert code is not None
    assert codes.fuel_system_status(code) == row["expected"]
    assert (code in codes.CLOSED_LOOP) == row["expected"].startswith("closed loop")


@pytest.mark.parametrize("row", [r for r in BITS if r["kind"] == "oxygen_sensors_13"])
def test_oxygen_sensors_present(row: dict[str, str]) -> None:
    code = parameters.decode(0x13, bytes.fromhex(row["hex"]))["oxygen_sensors_present_two_banks"]
    assert code is not None
    said = parameters.meanings("oxygen_sensors_present_two_banks", code)
    short = [re.sub(r"bank (\d) sensor (\d)", r"B\1S\2", one) for one in said]
    assert short == row["expected"].split()


@pytest.mark.parametrize(
    "row", [r for r in BITS if r["kind"] in {"requirement_1C", "fuel_type_51"}]
)
def test_choices(row: dict[str, str]) -> None:
    identifier = int(row["kind"][-2:], 16)
    ((name, code),) = parameters.decode(identifier, bytes.fromhex(row["hex"])).items()
    assert code is not None
    number, words = row["expected"].split(" ", 1)
    assert code == int(number)
    assert parameters.meanings(name, code) == (words.strip("()"),)


@pytest.mark.parametrize("row", [r for r in BITS if r["kind"].startswith("rescale")])
def test_rescaling_by_the_reported_maxima(row: dict[str, str]) -> None:
    by, identifier = (int(part, 16) for part in row["kind"].split("_")[1:])
    maxima_data, data = (bytes.fromhex(part) for part in row["hex"].split("|"))
    values = parameters.decode(identifier, data, parameters.decode(by, maxima_data))
    assert values[row["field"]] == pytest.approx(float(row["expected"]), rel=1e-7)


@pytest.mark.parametrize("row", rows("speed_density"))
def test_absolute_load(row: dict[str, str]) -> None:
    # Appendix B, parameter 43 (M); in half a step once coded.
    load = cylinder.absolute_load_pct(
        float(row["mass_flow_g_s"]) * 1e-3,
        float(row["displacement_l"]) * 1e-3,
        float(row["rpm"]) / 60.0,
    )
    assert float(load) == pytest.approx(float(row["absolute_load_pct"]), abs=1e-4)
    assert parameters.encode(0x43, {"absolute_load": float(load)}).hex().upper() == row["pid43_hex"]
    coded = parameters.decode(0x43, bytes.fromhex(row["pid43_hex"]))["absolute_load"]
    assert coded == pytest.approx(float(row["pid43_value"]), abs=6e-5)


def test_absolute_load_density_is_air_at_25_degc() -> None:
    density = float(air.density_kg_m3(101_325.0, 298.15))
    assert pytest.approx(density, abs=5e-4) == cylinder.LOAD_DENSITY_KG_M3


@pytest.mark.parametrize("row", numbers("calculated_load"))
def test_calculated_load(row: dict[str, float]) -> None:
    # Appendix B, parameter 04, quoted on a public page (S).
    units: pint.UnitRegistry[float] = pint.UnitRegistry()
    barometer = units.Quantity(row["baro_inHg"], "inHg").to("Pa").magnitude
    load = cylinder.calculated_load_pct(
        row["airflow_g_s"],
        row["peak_wot_airflow_std_g_s"],
        barometer,
        row["ambient_C"] + air.KELVIN,
    )
    assert float(load) == pytest.approx(row["load_pct"], abs=1e-4)


@pytest.mark.parametrize("row", rows("services"), ids=lambda row: row["service"])
def test_services(row: dict[str, str]) -> None:
    number = int(row["service"], 16)
    assert number + POSITIVE == int(row["positive_response"], 16)
    # 05, 06 and 08 are not asked for: nothing in them bears on the air path.
    assert (number in set(Service)) == (row["service"] not in {"05", "06", "08"})
