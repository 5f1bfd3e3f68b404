"""Quantities in a text, in US units, against Pint."""

import pint
import pytest

from bellmouth.pages.card_words import Words
from bellmouth.pages.us_units import PSI, US, in_us, unit_of_reading
from bellmouth.recording.names import table as parameters_table

_PINT = {
    "degC": "degC", "degF": "degF", "mm2": "mm**2", "in2": "inch**2", "in": "inch",
    "mi": "mile", "L/h": "liter/hour", "gal/h": "gallon/hour", "lb·ft": "force_pound*foot",
    "Nm": "newton*meter", "N·m": "newton*meter", "inH2O": "inch_H2O_60F", "km/h": "km/hour",
    "kPa/psi": "kPa", "inHg": "inch_Hg", "mph": "mile/hour", "lb/min": "pound/minute",
}  # fmt: skip


@pytest.mark.parametrize("metric", US)
def test_every_factor_is_pints(metric: str) -> None:
    unit, factor, offset = US[metric]
    quantity = pint.UnitRegistry().Quantity(10.0, _PINT.get(metric, metric))
    same = quantity.to(_PINT.get(unit, unit)).magnitude
    assert 10.0 * factor + offset == pytest.approx(same, rel=1.5e-3)


@pytest.mark.parametrize(
    ("metric", "us"),
    [
        ("a hole of 2.1 mm (1.8 to 2.5)", "a hole of 0.083 in (0.071 to 0.098)"),
        ("a hole of 2.5 mm (2.3 to 2.6)", "a hole of 0.098 in (0.091 to 0.102)"),
        ("14 mm² (9.0 to 22) of opening lost", "0.022 in² (0.014 to 0.034) of opening lost"),
        ("at 70 degC coolant", "at 158 °F coolant"),
        ("coolant 40 of 70 °C", "coolant 104 of 158 °F"),
        # Tables and pictures have the manifold's pressure; 101.325 kPa are 29.92 inHg.
        ("Pressure [kPa]", "Pressure [inHg]"),
        ("manifold pressure of 34 kPa", "manifold pressure of 10 inHg"),
        ("the barometric pressure, 101.3 kPa", "the barometric pressure, 29.91 inHg"),
        ("Saugrohrdruck 34 kPa", "Saugrohrdruck 10 inHg"),
        ("smoke at no more than 3-7 kPa", "smoke at no more than 0.4-1.0 psi"),
        ("3 to 7 kPa or less; inert gas only", "0.4 to 1.0 psi or less; inert gas only"),
        ("Distance [1,000 km]", "Distance [1,000 mi]"),
        ("odometer [thousand km]", "odometer [thousand mi]"),
        ("60 ± 1 mm", "2.362 ± 0.039 in"),
        ("+0.5 g/s", "+0.066 lb/min"),
        ("hold 2,500 rpm for 30 s", "hold 2,500 rpm for 30 s"),
        ("recording 3 mm.csv", "recording 0.12 in.csv"),
    ],
)  # fmt: skip
def test_a_quantity_keeps_the_digits_that_it_had(metric: str, us: str) -> None:
    assert in_us(metric) == us


def test_german_figures_are_read_and_written_as_german_ones() -> None:
    assert in_us("wie ein Loch von 2,1 mm (1,8 bis 2,5)", "de") == (
        "wie ein Loch von 0,083 in (0,071 bis 0,098)"
    )


def test_a_files_name_is_not_converted_where_a_reader_sees_it() -> None:
    assert Words("en", "us").told("recording 3 mm.csv") == "recording 3 mm.csv"


@pytest.mark.parametrize(
    ("value", "unit", "places", "shown"),
    [
        (35.0, "kPa", 1, "10.34"), (300.0, PSI, 0, "43.5"), (2.31, "g/s", 2, "0.306"),
        (None, "kPa", 1, "–"),
        (7.0, "%", 0, "7"),
    ],
)  # fmt: skip
def test_a_figure_of_a_table_is_converted(
    value: float | None, unit: str, places: int, shown: str
) -> None:
    assert Words("en", "us").figure(value, unit, places) == shown


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        ("coolant 40 degC (70 degC is enough)", "coolant 40 °C (70 °C is enough)"),
        ("Warm it to 70 degC and record again.", "Warm it to 70 °C and record again."),
        ('unknown unit "degc". Use degC, degF or K.', 'unknown unit "degc". Use degC, degF or K.'),
    ],
)
def test_metric_degrees_in_a_sentence_have_their_sign(told: str, shown: str) -> None:
    assert Words().told(told) == shown


@pytest.mark.parametrize(
    ("name", "us"),
    [
        ("intake_manifold_pressure", "inHg"), ("intake_manifold_pressure_a_extended", "inHg"),
        ("barometric_pressure", "inHg"), ("fuel_pressure_gauge", "psi"),
        ("fuel_rail_pressure_over_manifold", "psi"), ("boost_pressure", "psi"),
        ("exhaust_pressure_bank_1", "psi"), ("evaporative_system_vapour_pressure", "inH2O"),
    ],
)  # fmt: skip
def test_a_pressure_is_read_in_what_the_trade_reads_it_in(name: str, us: str) -> None:
    unit = unit_of_reading(name, parameters_table()[name].unit)
    assert Words("en", "us").unit(unit) == us
    assert Words().unit(unit) in {"kPa", "Pa"}
