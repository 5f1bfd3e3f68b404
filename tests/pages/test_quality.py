"""A recording's quality on the terminal and as data."""

import io
import json
from dataclasses import replace

import pytest
from rich.console import Console

from bellmouth.pages.card_words import ENGLISH, Words
from bellmouth.pages.document import to_json
from bellmouth.pages.quality import print_quality, quality_document
from bellmouth.recording.quality import Missing, ParameterQuality, Piece, Quality


def _quality() -> Quality:
    flow = ParameterQuality(
        name="mass_air_flow",
        unit="g/s",
        samples=300,
        samples_per_s=1.6,
        longest_gap_s=2.4,
        quantum=0.01,
        least=2.1,
        most=14.0,
        dropped=3,
        stuck=False,
    )
    return Quality(
        source="idle.csv",
        usable=True,
        seconds=181.2,
        samples_per_s=6.4,
        parameters=(flow, replace(flow, name="calculated_load", unit="%", stuck=True)),
        stretches=(Piece("idle", 3.0, 61.0, 702.0, False, False),) * 30,
        missing=(Missing("fuel trims", ("leak", "fuel_low"), "a fuel error cannot be seen"),),
        warnings=("Idle alone was recorded.",),
        notes=("2 rows were read twice.",),
        unmapped=("Cabin",),
    )


def _shown(quality: Quality, width: int = 80, speak: Words = ENGLISH) -> str:
    file = io.StringIO()
    print_quality(quality, Console(file=file, width=width, highlight=False, markup=False), speak)
    return file.getvalue()


def test_codes_have_no_range_and_degrees_their_sign() -> None:
    flow = _quality().parameters[0]
    flags = replace(flow, name="monitor_status", unit="bits", least=2.182e9, most=2.182e9)
    heat = replace(flow, name="engine_coolant_temperature", unit="degC", least=80.0, most=91.0)
    text = " ".join(_shown(replace(_quality(), parameters=(flags, heat))).split())
    assert "monitor status 1.6 2.4 s codes" in text
    assert "80 to 91 °C" in text


def test_everything_is_told() -> None:
    text = " ".join(_shown(_quality()).split())
    for part in (
        "idle.csv can be used: 181 s, 6.4 samples a second in all.",
        "Idle alone was recorded.",
        "mass air flow 1.6 2.4 s 0.01 2.1 to 14 g/s, 3 impossible",
        "STUCK",
        "idle 3 s 61 s 702 rpm cold, open loop",
        "and 6 more",
        "fuel trims (leak, fuel low): a fuel error cannot be seen",
        "2 rows were read twice.",
        "Columns that were not used: Cabin.",
    ):
        assert part in text


def test_a_recording_that_cannot_be_used_says_so_first() -> None:
    text = _shown(replace(_quality(), usable=False, stretches=()))
    assert text.strip().startswith("idle.csv cannot be used")
    assert "Steady stretches" not in text


@pytest.mark.parametrize("width", [60, 80])
def test_it_fits_the_terminal(width: int) -> None:
    text = _shown(_quality(), width)
    assert max(map(len, text.splitlines())) <= width
    assert "…" not in text


def test_the_document_holds_the_same_and_no_nan() -> None:
    document = json.loads(to_json(quality_document(replace(_quality(), seconds=float("nan")))))
    assert document["seconds"] is None
    assert document["parameters"][0]["name"] == "mass_air_flow"
    assert document["stretches"][0]["warm"] is False
    assert document["software"]["name"] == "bellmouth"


def test_columns_of_another_name_are_said_once_and_how_to_map_them() -> None:
    note = 'Column "Engine RPM (rpm)" is no parameter known here and was left out.'
    text = " ".join(
        _shown(replace(_quality(), notes=(note,), unmapped=("Engine RPM (rpm)",))).split()
    )
    assert text.count("Engine RPM (rpm)") == 2, "in the note, and as the line to write"
    assert '[columns] "Engine RPM (rpm)" = "engine_speed [rpm]"' in text
    assert "--mapping" not in _shown(replace(_quality(), unmapped=()))


def test_the_line_to_write_is_of_a_parameter_that_is_not_there() -> None:
    """Copied as it stands it must not give a second column the name of one that was read."""
    there = _quality()
    speed = replace(there.parameters[0], name="engine_speed", unit="rpm")
    text = " ".join(
        _shown(replace(there, parameters=(speed, *there.parameters), unmapped=("ECT",))).split()
    )
    assert '"ECT" = "engine_speed' not in text
    assert '"ECT" = "intake_manifold_pressure [kPa]"' in text


def test_a_check_is_told_in_the_readers_language_and_units() -> None:
    text = " ".join(_shown(_quality(), 96, Words("de", "us")).split())
    for part in (
        "idle.csv ist brauchbar: 181 s, insgesamt 6,4 Messwerte je Sekunde.",
        "Luftstrom nach LMM 1,6 2,4 s 0,00132 0,278 bis 1,852 lb/min, 3 unmöglich",
        "STEHT FEST",
        "Leerlauf 3 s 61 s 702 1/min kalt, ungeregelt",
        "und 6 weitere",
        "Gemischkorrekturen (Leck, Kraftstoff zu wenig): ",
        "Nicht verwendete Spalten: Cabin.",
    ):
        assert part in text


def test_a_converted_range_has_the_places_of_its_step_and_no_offset_in_it() -> None:
    flow = _quality().parameters[0]
    heat = replace(
        flow, name="engine_coolant_temperature", unit="degC", quantum=1.0, least=80.0, most=91.0
    )
    text = " ".join(
        _shown(replace(_quality(), parameters=(heat,)), speak=Words("en", "us")).split()
    )
    assert "1.8 176 to 196 °F" in text


def test_a_long_distance_is_written_out() -> None:
    far = replace(
        _quality().parameters[0], name="distance_since_codes_cleared", unit="km", quantum=1.0,
        least=65_000.0, most=65_535.0,
    )  # fmt: skip
    assert "65000 to 65535 km" in _shown(replace(_quality(), parameters=(far,)))


def test_no_figure_is_told_in_powers_of_ten() -> None:
    fast = replace(
        _quality().parameters[0], name="commanded_equivalence_ratio", unit="ratio",
        samples_per_s=100.4, quantum=3.0518e-05, least=0.0, most=1.0,
    )  # fmt: skip
    text = " ".join(_shown(replace(_quality(), parameters=(fast,)), speak=Words("de")).split())
    assert "Lambda, Sollwert 100 2,4 s 0,0000305 0 bis 1 ×" in text


def test_the_line_to_write_stays_what_a_file_holds() -> None:
    text = _shown(replace(_quality(), unmapped=("Drehzahl (1/min)",)), speak=Words("de", "us"))
    assert '"Drehzahl (1/min)" = "engine_speed [rpm]"' in text
    assert "intake_manifold_pressure" in text


def test_no_word_of_a_name_is_broken_where_german_is_long() -> None:
    quality = _quality()
    names = ("engine_coolant_temperature", "intake_air_temperature", "long_term_fuel_trim_bank_1")
    parameters = tuple(
        replace(quality.parameters[0], name=name, unit="degC", dropped=0, least=-21.9, most=132.0)
        for name in names
    )
    for width in (60, 80):
        text = _shown(replace(quality, parameters=parameters), width, Words("de", "us"))
        assert max(map(len, text.splitlines())) <= width
        for word in ("Kühlmitteltemperatur", "Ansauglufttemperatur", "Langzeitkorrektur"):
            assert word in text


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("fuel_pressure_gauge", "0.435 43.5 to 52.2 psi"),
        ("intake_manifold_pressure", "0.886 88.6 to 106.3 inHg"),
    ],
)
def test_a_pressure_has_the_unit_that_the_trade_reads_it_in(name: str, told: str) -> None:
    one = replace(
        _quality().parameters[0], name=name, unit="kPa", quantum=3.0, least=300.0, most=360.0
    )
    shown = _shown(replace(_quality(), parameters=(one,)), speak=Words("en", "us"))
    assert told in " ".join(shown.split())
