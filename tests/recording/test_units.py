"""Conversions against the Pint unit library and the reference table."""

import csv
from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.recording.names import nearest, table
from bellmouth.recording.units import _table, conversion, spellings

TABLE = Path(__file__).parents[1] / "reference" / "tables" / "units.csv"
# Spellings that Pint writes otherwise, or reads as something else.
PINT = {
    "kPa": {"inHg": "inch_Hg", "in Hg": "inch_Hg", "in.Hg": "inch_Hg", "kpa": "kPa", "bar": "bar"},
    "degC": {
        "Grad C": "degC",
        "C": "degC",
        "F": "degF",
        "deg C": "degC",
        "deg F": "degF",
        "K": "kelvin",
    },
    "g/s": {
        "gps": "g/s",
        "kg/hr": "kg/h",
        "kg/Std": "kg/h",
        "lbs/min": "lb/min",
        "gm/s": "g/s",
        "gm/sec": "g/s",
        "g/sec": "g/s",
        "grams/sec": "g/s",
    },
    "km/h": {"kph": "km/h", "kmh": "km/h"},
    "Pa": {"inH2O": "inH2O"},
    "L/h": {"l/h": "L/h", "gal/h": "gallon/h"},
    "s": {"sec": "s", "seconds": "s", "sek": "s", "sekunden": "s", "µs": "us"},
    "Nm": {"Nm": "N*m", "N m": "N*m", "lb ft": "lbf*ft", "ft lb": "lbf*ft"},
    "rpm": {
        "RPM": "rpm",
        "1/min": "rpm",
        "r/min": "rpm",
        "rev/min": "rpm",
        "1/s": "turn/s",
        "rev/s": "turn/s",
        "U/min": "rpm",
        "upm": "rpm",
        "min-1": "rpm",
        "min^-1": "rpm",
    },
    "km": {"mile": "mile", "miles": "mile", "mi": "mile"},
    "deg": {"°": "deg", "degrees": "deg", "Grad": "deg", "°KW": "deg", "°CA": "deg"},
}
REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
WITHOUT = ("%", "ratio", "count", "code")
PAIRS = [
    (unit, own) for own, units in _table().items() if own not in WITHOUT
    for unit in units if unit != "use"
]  # fmt: skip


@pytest.mark.parametrize(("unit", "own"), PAIRS)
def test_conversion_agrees_with_pint(unit: str, own: str) -> None:
    names = PINT.get(own, {})
    pair = conversion(unit, own)
    assert pair is not None
    for value in (1.0, 37.5):
        theirs = REGISTRY.Quantity(value, names.get(unit, unit)).to(names.get(own, own)).magnitude
        assert pair[0] * value + pair[1] == pytest.approx(theirs, rel=1e-6, abs=1e-9)


def test_conversion_agrees_with_the_reference_table() -> None:
    with TABLE.open() as rows:
        for row in csv.DictReader(rows):
            unit = row["unit"].replace(" (US)", "")
            pair = conversion(unit, row["expected_unit"])
            assert pair is not None, row
            own = pair[0] * float(row["value"]) + pair[1]
            assert own == pytest.approx(float(row["expected"]), abs=1e-6, rel=1e-6)


@given(value=st.floats(-1e6, 1e6), pair=st.sampled_from(PAIRS))
def test_conversion_can_be_undone(value: float, pair: tuple[str, str]) -> None:
    factor, offset = conversion(*pair) or (0.0, 0.0)
    assert (factor * value + offset - offset) / factor == pytest.approx(value, rel=1e-9, abs=1e-6)


@pytest.mark.parametrize(
    ("written", "meant", "own"),
    [
        ("MPH", "mph", "km/h"),
        ("KM/H", "km/h", "km/h"),
        ("KPA", "kPa", "kPa"),
        ("PSI", "psi", "kPa"),
        ("INHG", "inHg", "kPa"),
        ("DEGF", "degF", "degC"),
        ("G/S", "g/s", "g/s"),
        ("LB/MIN", "lb/min", "g/s"),
        ("RPM", "rpm", "rpm"),
        ("min\u207b\u00b9", "min-1", "rpm"),
        ("MPa", "MPa", "kPa"),
    ],
)
def test_capitals_and_raised_letters_make_no_other_unit(written: str, meant: str, own: str) -> None:
    pair = conversion(written, own)
    assert pair is not None
    assert pair == conversion(meant, own)
    name = PINT.get(own, {}).get(meant, meant)
    theirs = REGISTRY.Quantity(10.0, name).to(PINT.get(own, {}).get(own, own)).magnitude
    assert pair[0] * 10.0 + pair[1] == pytest.approx(theirs, rel=1e-6)


def test_a_thousandth_is_no_million() -> None:
    assert conversion("mPa", "kPa") is None


def test_every_parameters_unit_can_be_named() -> None:
    for parameter in table().values():
        assert conversion(parameter.unit, parameter.unit) == (1.0, 0.0)
        assert spellings(parameter.unit).startswith(parameter.unit)


def test_a_unit_of_another_quantity_is_unknown() -> None:
    assert conversion("kPa", "g/s") is None
    assert conversion("use", "g/s") is None
    assert conversion("lb/h", "g/s") is None


def test_a_near_miss_finds_the_right_name() -> None:
    assert nearest("engine_sped") == "engine_speed"
    assert nearest("nothing_like_it_at_all") is None
