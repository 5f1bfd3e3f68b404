"""What a capture says while it goes on: steps, what is done, silence, an adapter pulled out."""

import io

import pytest
from rich.console import Console

from bellmouth.bus.capture import Progress
from bellmouth.bus.first_answers import FirstAnswers
from bellmouth.bus.guide import Advice, Step, course, extras
from bellmouth.bus.reports import Codes, Controller, FreezeFrame, Identity
from bellmouth.cli.capturing import CapturingScreen, opening_lines
from bellmouth.pages.car_screen import print_codes
from bellmouth.pages.card_words import Words
from bellmouth.pages.recognised import recogniser
from tests.english import left_english

STEPS = {step.name: step for step in course()}


def advice(step: Step, passed: dict[str, str]) -> Advice:
    return Advice(step, len(passed) + 1, 6, "now 800 rpm: hold it still", passed=passed)


def at(seconds: float, told: Advice | None = None, *, away: bool = False) -> Progress:
    return Progress(seconds, 100, 800.0, quiet=False, advice=told, away=away)


def test_a_step_is_told_whole_once_and_shortly_when_it_is_wanted_again(
    capsys: pytest.CaptureFixture[str],
) -> None:
    idle, held = STEPS["idle"], STEPS["hold_2500"]
    passed = {"key_on": "passed over, the engine was running"}
    with CapturingScreen() as screen:
        screen.progress(at(1.0, advice(idle, passed)))
        screen.progress(at(2.0, advice(held, passed)))
        screen.progress(at(3.0, advice(idle, passed)))
        more = {**passed, "idle": "steady for 20 s; 10 s more would tell 0.01 bit"}
        screen.progress(at(20.0, advice(held, more)))
    said = capsys.readouterr().err
    assert said.count(idle.do) == 2
    assert said.count(idle.why) == 1
    assert said.count(held.caution) == 1
    assert said.count("Not done: key on (passed over, the engine was running).") == 1
    assert said.count("Done: idle (steady for 20 s).") == 1
    assert "hold 2500 [............] now 800 rpm" in said


def test_an_adapter_pulled_out_is_said_at_once(capsys: pytest.CaptureFixture[str]) -> None:
    with CapturingScreen() as screen:
        screen.progress(at(1.0))
        screen.progress(at(1.5, away=True))
        screen.progress(at(9.0, away=True))
        screen.progress(at(9.5))
    said = capsys.readouterr().err
    assert said.count("The adapter went away: plug it in again.") == 1
    assert said.count("The adapter is back.") == 1


def test_what_a_freeze_frame_leaves_open_is_left_out() -> None:
    """The second bank of an engine that has one has neither loop."""
    values = {"fuel_system_status": 2.0, "fuel_system_status_bank_2": 0.0, "engine_speed": 805.0}
    report = FirstAnswers("x", Codes(), (FreezeFrame(0x10, 0, "P0171", values),), {}, ())
    assert (
        "Freeze frame of P0171: fuel system status closed loop; engine speed 805 rpm."
        in opening_lines(report)
    )


def test_a_capture_is_led_in_the_language_and_units(capsys: pytest.CaptureFixture[str]) -> None:
    idle, held = STEPS["idle"], STEPS["hold_2500"]
    passed = {"key_on": "passed over, the engine was running"}
    report = FirstAnswers(
        "ISO 15765-4, 11-bit, 500 kbit/s",
        Codes(confirmed={0x10: ("P0171",)}),
        (FreezeFrame(0x10, 0, "P0171", {"engine_coolant_temperature": 90.0}),),
        {}, (Identity(
            0x10, name="ECM", vehicle_number="00P***1", calibrations=("CAL 1",),
            verifications=("34C6C918",),
        ),),
        {"monitors": "No controller reports its monitors; ask again with the ignition on."},
    )  # fmt: skip
    with CapturingScreen(Words("de", "us")) as screen:
        screen.opened(report)
        screen.progress(at(11.0, advice(idle, passed)))
        screen.progress(at(12.0, advice(held, passed), away=True))
    said = capsys.readouterr().err
    for part in (
        "Verbunden mit dem Auto: ISO 15765-4, 11 Bit, 500 kbit/s.",
        "Steuergerät 10 ECM: FIN 00P***1; Kalibrierung CAL 1; Prüfnummer 34C6C918.",
        "Fehlercodes: bestätigt P0171.",
        "Freeze-Frame zu P0171: Kühlmitteltemperatur 194 °F.",
        "Das Auto gab nicht an: Prüfungen: Kein Steuergerät meldet seine Prüfungen;",
        "Nicht getan: Zündung ein (übergangen, der Motor lief).",
        "[2/6] Im Leerlauf laufen lassen",
        "   11 s     100 Werte    800 1/min  Leerlauf [............] jetzt 800 1/min: so halten",
        "! Vorsicht: Heiße Teile",
        "Der Adapter ist weg: wieder einstecken.",
    ):
        assert part in said
    assert left_english(said) == set()


@pytest.mark.parametrize(
    ("name", "value", "told"),
    [
        ("intake_manifold_pressure", 35.0, "10.34 inHg"),
        ("barometric_pressure", 100.0, "29.53 inHg"),
        ("fuel_pressure_gauge", 350.0, "50.76 psi"),
        ("boost_pressure", 120.0, "17.4 psi"),
    ],
)
def test_capture_and_codes_tell_a_pressure_in_what_the_trade_reads_it_in(
    name: str, value: float, told: str
) -> None:
    speak, file = Words("en", "us"), io.StringIO()
    frame = FreezeFrame(0x10, 0, "P0171", {name: value})
    report = FirstAnswers("x", Codes(), (frame,), {}, ())
    assert f"Freeze frame of P0171: {name.replace('_', ' ')} {told}." in opening_lines(
        report, speak
    )
    controllers = (Controller(0x10, None, frozenset()),)
    print_codes(controllers, Codes(), (frame,), (), Console(file=file, width=80), speak)
    assert told in " ".join(file.getvalue().split())


def test_a_large_value_is_written_out() -> None:
    frame = FreezeFrame(0x10, 0, "P0171", {"time_since_codes_cleared": 12345.0})
    (said,) = (
        line
        for line in opening_lines(FirstAnswers("x", Codes(), (frame,), {}, ()))
        if line.startswith("Freeze frame")
    )
    assert "12345 min" in said


def test_every_step_of_a_capture_has_its_name_in_german() -> None:
    german = recogniser("de")
    for step in (*course(), *extras()):
        assert german.unknown(step.name.replace("_", " ")) == 0
