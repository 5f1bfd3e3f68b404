"""What is wrong is said in the language of the command or of the locale; what was typed stays."""

from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.english import left_english

TYPED = {"find", "for"}


@pytest.fixture
def german(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LC_ALL", "de_DE.UTF-8")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["find"], "Angabe 'REC' fehlt. Siehe main find --help."),
        (["find", "x.csv"], "Option '--car' fehlt. Siehe main find --help."),
        (["find", "x.csv", "--jsn"], "Die Option '--jsn' gibt es nicht."),
        (["fnid"], "Den Befehl 'fnid' gibt es nicht."),
        (["book", "remove"], "Siehe main book --help."),
        (["check", "--mapping"], "Option '--mapping' braucht einen Wert."),
        (["demo", "--json=3"], "Option '--json' nimmt keinen Wert an."),
        (["causes", "more"], "Für more ist kein Platz."),
        (["practice", "--seed", "-1"], "Wert von '--seed': -1 liegt nicht im Bereich "),
        (["practice", "--seed", "one"], "Wert von '--seed': 'one' ist keine Zahl."),
        (["completion", "tcsh"], "'tcsh' ist keines von 'bash', 'zsh', 'fish'."),
        (["record", "-o", "a.parquet"], "Für eine geführte Aufnahme --car FILE angeben"),
        (["judge", "--procedure", "nix"], "Eine Aufzeichnung REC, --marks FILE oder beides"),
        (["judge", "a.csv", "--procedure", "nix"], "Kein Ablauf heißt „nix“. bellmouth procedures"),
    ],
)
@pytest.mark.usefixtures("german")
def test_wrong_use_in_the_locales_language(run: Run, words: list[str], said: str) -> None:
    ran = run(*words)
    assert (ran.exit_code, ran.stdout) == (2, "")
    assert said in ran.stderr
    assert left_english(ran.stderr, {*TYPED, *words}) == set()


@pytest.mark.usefixtures("german")
def test_what_was_meant_is_asked_in_the_language(run: Run) -> None:
    assert "'--report', '--result' gemeint?" in run("find", "x.csv", "--reprot").stderr
    assert "Ist 'check' gemeint?" in run("chekc").stderr


@pytest.mark.parametrize("before", [True, False])
def test_the_language_that_is_chosen_holds_wherever_it_stands(
    run: Run, recording: Path, before: bool
) -> None:
    chosen, wrong = ["--language", "de"], ["--units", "uk"]
    ran = run("check", recording, *(chosen + wrong if before else wrong + chosen))
    assert "Wert von '--units': 'uk' ist keines von" in ran.stderr


@pytest.mark.usefixtures("german")
def test_english_may_be_chosen_against_the_locale(run: Run) -> None:
    assert "Missing option '--car'" in run("find", "x.csv", "--language", "en").stderr


@pytest.mark.usefixtures("german")
def test_one_refusal_leaves_nothing_for_the_next(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "Missing" in run("find", "x.csv", "--language", "en").stderr
    assert "fehlt" in run("find", "x.csv").stderr
    monkeypatch.setenv("LC_ALL", "C")
    assert "Missing" in run("find", "x.csv").stderr


@pytest.mark.usefixtures("german")
def test_bad_input_is_told_with_its_place(run: Run, tmp_path: Path, car: Path) -> None:
    bad = tmp_path / "the idle.csv"
    bad.write_text("time [s],engine_speed [furlong]\n0,1\n", "utf-8")
    told = run("find", bad, "--car", car).stderr
    assert "Spalte „engine_speed [furlong]“: unbekannte Einheit „furlong“" in told
    assert "the idle.csv, Zeile 1" in told
    told = run("find", tmp_path / "none.csv", "--car", car).stderr
    assert "none.csv: nicht lesbar (Datei oder Ordner gibt es nicht)." in told


@pytest.mark.usefixtures("german")
def test_what_the_disk_refuses_is_told(run: Run, tmp_path: Path, recording: Path) -> None:
    there = tmp_path / "out.csv"
    there.write_text("mine", "utf-8")
    told = run("convert", recording, there).stderr
    assert "ist schon da" in told
    folder = tmp_path / "no such"
    told = run("convert", recording, folder / "out.csv").stderr
    assert f"den Ordner {folder} gibt es nicht" in told
    assert left_english(told.replace(str(folder), "")) == set()


@pytest.mark.usefixtures("german")
@pytest.mark.parametrize("name", ["Long Idle", "idle", "High", "finding", "show"])
def test_a_car_is_called_what_it_is_called(run: Run, car: Path, tmp_path: Path, name: str) -> None:
    book = ("book", "--book", tmp_path / "book")
    assert run(*book, "car", name, "--file", car).exit_code == 0
    assert f"bellmouth: {name}: hat noch keine" in run(*book, "add", name, "finding").stderr
    if " " in name:
        assert f"Eintrag 1 von {name} ist kein" in run(*book, "recompute", name, "1").stderr
        asked = run(*book, "show", f"{name}s").stderr
        assert f"bellmouth: {name}s: " in asked
        assert f"Ist {name} gemeint?" in asked


@pytest.mark.usefixtures("german")
def test_a_folder_that_is_not_there_is_called_what_it_is_called(
    run: Run, recording: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "High Idle"
    ran = run("convert", recording, folder / "a.parquet")
    assert ran.stderr.startswith(f"bellmouth: {folder}/a.parquet: den Ordner {folder} gibt es")


@pytest.mark.usefixtures("german")
@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("", 'metering fehlt. Eine Zeile ergänzen wie metering = "airflow".'),
        ("cylinder = 4", "unbekannter Schlüssel cylinder. Ist cylinders gemeint?"),
        ("nix = 4", "Schlüssel sind displacement_l, metering, cylinders, banks, "),
        ('metering = "air"', 'metering = "air" ist nicht bekannt.'),
        ("cylinders = 77", "cylinders = 77 ist unmöglich."),
        ("turbocharged = 1", "turbocharged ist 1."),
    ],
)
def test_a_key_of_the_car_file_is_named_as_it_is_typed(
    run: Run, recording: Path, tmp_path: Path, line: str, said: str
) -> None:
    car = tmp_path / "car.toml"
    rest = "" if not line or line.startswith("metering") else 'metering = "airflow"\n'
    car.write_text(f"displacement_l = 1.6\n{rest}{line}\n", "utf-8")
    assert said in run("find", recording, "--car", car).stderr


@pytest.mark.usefixtures("german")
def test_causes_and_works_are_named_as_they_are_typed(
    run: Run, recording: Path, car: Path, tmp_path: Path
) -> None:
    prior = tmp_path / "prior.toml"
    prior.write_text("leek = 0.5\n", "utf-8")
    ran = run("find", recording, "--car", car, "--prior", prior)
    assert "Möglich: healthy, leak, meter_low, " in ran.stderr
    assert "Ist relearn gemeint?" in run("card", "--car", car, "--work", "relern").stderr
    marks = tmp_path / "marks.json"
    marks.write_text('{"lamp": 3}', "utf-8")
    ran = run("judge", "--marks", marks, "--procedure", "throttle-closed-position")
    assert ": key_on, key_off, press, release, " in ran.stderr


def test_what_can_be_chosen_ends_its_sentence(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LC_ALL", "C")
    assert "bash, zsh, fish. See main completion --help." in run("completion").stderr
    assert "--help'?) See main find --help." in run("find", "--helpp").stderr
    assert "'--car'. See main find --help." in run("find", "x.csv").stderr
