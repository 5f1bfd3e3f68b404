"""``bellmouth record`` and ``find --live`` against the practice car on loopback."""

import re
import shutil
import time
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import Result

from bellmouth import find, read_car
from bellmouth.practice.live import PracticeCar
from bellmouth.practice.mechanic import Mechanic
from bellmouth.practice.wires import WireChoice, serve
from bellmouth.recording import read_recording
from bellmouth.recording.export import write_recording
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches
from tests.finding.worked import healthy, meter_reads_low

Run = Callable[..., Result]


@pytest.fixture(scope="module")
def channel() -> Iterator[str]:
    """Where a practice car with a leak answers."""
    car = PracticeCar("leak", 2.0, seed=2, driver=Mechanic())
    served = serve(car, WireChoice())
    try:
        with car.keep_up():
            until = time.monotonic() + 30.0
            while not car.awake and time.monotonic() < until:  # its mechanic takes a moment
                time.sleep(0.05)
            yield served.channel
    finally:
        served.close()


def test_a_timed_capture_says_what_the_car_reports_and_how_it_went(
    run: Run, channel: str, tmp_path: Path
) -> None:
    out = tmp_path / "rec.parquet"
    result = run("record", "--channel", channel, "--bitrate", "500000", "--seconds", "4", "-o", out)
    assert result.exit_code == 0, result.output
    assert "Talking to the car: ISO 15765-4, 11-bit, 500 kbit/s." in result.output
    assert re.search(r"VIN 00P\*{12}\d\d; calibration PRACTICE-AE\d{4}; ", result.output)
    assert "Trouble codes: " in result.output
    assert "Controller 10: lamp " in result.output
    assert "requests and" in result.output
    recording = read_recording(out)
    assert {"engine_speed", "mass_air_flow", "intake_manifold_pressure"} <= recording.series.keys()
    assert re.fullmatch(r"[0-9a-f]{3}", recording.of_car.vehicle)
    assert re.fullmatch(r"PRACTICE-AE\d{4}", recording.of_car.calibrations[0])
    assert len(recording.of_car.verifications) == 1
    assert b"00PBELLM" not in out.read_bytes()
    assert [file.name for file in tmp_path.iterdir()] == ["rec.parquet"]
    ready = run("monitors", "--recording", out)
    assert "Controller 10" in ready.output
    assert "  misfire: complete" in ready.output


def test_the_gearbox_can_be_picked(run: Run, channel: str, tmp_path: Path) -> None:
    out = tmp_path / "box.csv"
    words = ("--channel", channel, "--bitrate", "500000", "--seconds", "2")
    result = run("record", *words, "--controller", "11", "-o", out)
    assert result.exit_code == 0, result.output
    assert "mass_air_flow" not in read_recording(out)
    wrong = run("record", *words, "--controller", "42", "-o", tmp_path / "no.csv")
    assert wrong.exit_code == 2
    assert "Controller 42 does not answer; these do: 10, 11." in wrong.output


def test_what_is_there_is_refused_before_the_car_is_asked(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "rec.csv"
    out.write_text("mine", encoding="utf-8")
    result = run("record", "--channel", "socket://127.0.0.1:9", "--seconds", "3", "-o", out)
    assert result.exit_code == 2
    assert result.output == (
        "bellmouth: rec.csv: is there already, and a recording is never overwritten. Choose "
        "another name.\n"
    )
    assert out.read_text("utf-8") == "mine"


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["-o", "x.csv"], "Give --car FILE for a guided capture, or --seconds N."),
        (["-o", "x.csv", "--seconds", "3", "--complaint", " "], "--complaint is empty"),
        (["-o", "x.txt", "--seconds", "3"], "x.txt: what to record is told by the ending"),
        (["-o", "x.csv", "--seconds", "0"], "0.0 is not in the range x>0"),
        (["-o", "x.csv", "--seconds", "3", "--controller", "zz"], "is no address"),
        (["-o", "x.csv", "--car", "nowhere.toml"], "nowhere.toml"),
        (["--seconds", "3"], "Missing option '-o'"),
    ],
)
def test_mistakes_are_told_in_a_sentence(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], sentence: str
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run("record", "--channel", "socket://127.0.0.1:9", *words)
    assert result.exit_code == 2
    assert sentence in result.output
    assert "Traceback" not in result.output
    assert result.output.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_nobody_there_leaves_no_file(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "x.csv"
    result = run("record", "--channel", "socket://127.0.0.1:9", "--seconds", "3", "-o", out)
    assert result.exit_code == 2
    assert result.output.startswith("bellmouth: slcan socket://127.0.0.1:9: ")
    assert list(tmp_path.iterdir()) == []


def test_after_a_capture_the_command_is_named_with_its_files(
    run: Run, recording: Path, car: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The capture itself is put in: what it read, and what was found."""
    read = read_recording(recording)
    captured = SimpleNamespace(recording=read, finding=find(read, read_car(car)))
    monkeypatch.setattr("bellmouth.cli.record.capture", lambda *_, **__: captured)
    monkeypatch.chdir(tmp_path)
    shown = run("record", "--car", car, "-o", "my car.csv", "--complaint", "high idle").stdout
    asked = f"bellmouth find 'my car.csv' --car {car} --complaint 'high idle' --loads-off --result "
    assert f"\n    {asked}" in shown
    assert "find again" not in shown
    shown = run("record", "--car", car, "-o", "x.csv", "--seconds", "60").stdout
    assert f"\n    bellmouth find x.csv --car {car} --result " in shown  # nobody was guided


def test_loads_that_were_on_are_said_again(
    run: Run, recording: Path, car: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "bellmouth.cli.record.capture", lambda _, out, *__, **___: shutil.copy(recording, out)
    )
    monkeypatch.chdir(tmp_path)
    shown = run("find", "--live", "x.csv", "--car", car, "--loads-on").stdout
    assert f"\n    bellmouth find x.csv --car {car} --loads-on --result " in shown
    assert "every load was off" not in " ".join(shown.split())


def test_after_find_live_too_and_without_reading_the_car_anew(
    run: Run, recording: Path, car: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def capture(_: object, out: Path, *__: object, **___: object) -> None:
        shutil.copy(recording, out)

    monkeypatch.setattr("bellmouth.cli.record.capture", capture)
    monkeypatch.chdir(tmp_path)
    told = ("--result", "smoke_test=seen")
    shown = run("find", "--live", "rec.csv", "--car", car, *told).stdout
    assert (
        f"\n    bellmouth find rec.csv --car {car} {' '.join(told)} --loads-off --result " in shown
    )
    assert "--live" not in shown
    (tmp_path / "rec.csv").unlink()
    german = ("--language", "de", "--units", "us")
    shown = run("find", "--live", "rec.csv", "--car", car, *german).stdout
    assert (
        f"\n    bellmouth find rec.csv --car {car} --loads-off {' '.join(german)} --result "
        in shown
    )


@pytest.mark.parametrize(("told", "old_off"), [((), False), (("--loads-off",), True)])
def test_what_a_guide_asks_for_is_not_said_of_other_recordings(
    run: Run, car: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    told: tuple[str, ...], old_off: bool,
) -> None:  # fmt: skip
    judged: dict[str, bool] = {}

    def seen(one: Recording) -> object:
        judged[one.source] = one.loads_off
        return stretches(one)

    def capture(_: object, out: Path, *__: object, **___: object) -> None:
        write_recording(meter_reads_low(), out)

    monkeypatch.setattr(import_module("bellmouth.finding.find"), "stretches", seen)
    monkeypatch.setattr("bellmouth.cli.record.capture", capture)
    monkeypatch.chdir(tmp_path)
    write_recording(healthy(), tmp_path / "old.csv")
    ran = run("find", "--live", "new.csv", "--car", car, "--also", "old.csv", *told)
    assert ran.exit_code == 0, ran.output
    assert judged == {"new.csv": True, "old.csv": old_off}
    again = next(line for line in ran.stdout.splitlines() if "bellmouth find new.csv" in line)
    assert ("--loads-off" in again) is old_off


def test_find_live_refuses_a_file_that_is_there(run: Run, recording: Path, car: Path) -> None:
    result = run("find", "--live", recording, "--car", car, "--channel", "socket://127.0.0.1:9")
    assert result.exit_code == 2
    assert "a recording is never overwritten" in result.output
