"""``bellmouth family``: learnt from a folder of recordings, shown, and given to ``find``."""

from pathlib import Path

import pytest

from bellmouth.finding.family import read_family
from bellmouth.practice.polling import write_csv
from bellmouth.practice.scenario import run as simulated
from measure.family_cars import TUNING, cars_of
from tests.cli.conftest import Run

CARS = 9


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of recordings of one engine's cars, and the table of the cars beside it."""
    folder = tmp_path_factory.mktemp("family")
    (folder / "recordings").mkdir()
    rows = ["car,displacement_l,metering,family"]
    for number, one in enumerate(simulated(cars_of(TUNING[0], CARS), keep_true=False)):
        write_csv(one.recording, folder / "recordings" / f"car{number}.csv")
        rows.append(f"car{number},{one.car.displacement_l.value:.3f},{one.car.metering},two litre")
    (folder / "cars.csv").write_text("\n".join(rows) + "\n", "utf-8")
    litres = rows[1].split(",")[1]
    (folder / "car.toml").write_text(f'displacement_l = {litres}\nmetering = "airflow"\n', "utf-8")
    return folder


def test_a_family_is_learnt_shown_and_used(run: Run, fleet: Path) -> None:
    out = fleet / "two.toml"
    learnt = run("family", "learn", fleet / "recordings", "--cars", fleet / "cars.csv", "-o", out)
    assert learnt.exit_code == 0, learnt.stderr
    assert f"two litre: {CARS} cars, {CARS} recordings" in learnt.stdout
    assert "Each car held against the others" in learnt.stdout
    assert f"two litre: {CARS} cars" in run("family", "show", out).stdout
    car = ("--car", fleet / "car.toml")
    found = run("find", fleet / "recordings" / "car0.csv", *car, "--family", out)
    assert found.exit_code == 0, found.stderr
    assert "of the family two litre" in " ".join(found.stdout.split())
    own = fleet / "own.toml"
    own.write_text((fleet / "car.toml").read_text("utf-8") + 'family = "two.toml"\n', "utf-8")
    named = run("find", fleet / "recordings" / "car0.csv", "--car", own)
    assert named.stdout == found.stdout.replace("car.toml", "own.toml")
    again = run("family", "learn", fleet / "recordings", "--cars", fleet / "cars.csv", "-o", out)
    assert again.exit_code == 2
    assert "is there already" in again.stderr


def test_too_few_cars_are_no_family(run: Run, fleet: Path, tmp_path: Path) -> None:
    few = [fleet / "recordings" / f"car{number}.csv" for number in range(3)]
    out = tmp_path / "few.toml"
    ran = run("family", "learn", *few, "--cars", fleet / "cars.csv", "-o", out)
    assert ran.exit_code == 2
    assert "3 cars to learn from, at least 8" in ran.stderr
    assert "car5: no recording of this car was given" in ran.stderr
    assert not out.exists()
    nowhere = run("family", "learn", *few, "--cars", fleet / "cars.csv", "-o", tmp_path / "n" / "x")
    assert nowhere.exit_code == 2
    assert "there is no folder" in nowhere.stderr


def test_a_car_of_another_size_is_refused(run: Run, fleet: Path, tmp_path: Path) -> None:
    out, other = tmp_path / "two.toml", tmp_path / "other.toml"
    run("family", "learn", fleet / "recordings", "--cars", fleet / "cars.csv", "-o", out)
    other.write_text('displacement_l = 5.0\nmetering = "airflow"\n', "utf-8")
    ran = run("find", fleet / "recordings" / "car0.csv", "--car", other, "--family", out)
    assert ran.exit_code == 2
    assert "two litre" in ran.stderr


def test_a_survey_learns_the_family_in_the_same_run(run: Run, fleet: Path, tmp_path: Path) -> None:
    cars = fleet / "cars.csv"
    given = ("survey", fleet / "recordings", "--cars", cars, "--workers", "0")
    taken = tmp_path / "taken.toml"
    taken.write_text("mine", "utf-8")
    refused = run(*given, "--out", tmp_path / "f", "--learn-family", taken)
    assert refused.exit_code == 2
    assert "is there already" in refused.stderr
    assert not (tmp_path / "f").exists()
    ran = run(*given, "--out", tmp_path / "f", "--learn-family", tmp_path / "{family}.toml")
    assert ran.exit_code == 0, ran.stderr
    assert f"Family two litre ({CARS} cars)" in ran.stdout
    assert read_family(tmp_path / "two-litre.toml").name == "two litre"


def test_two_families_do_not_go_into_one_file(run: Run, fleet: Path, tmp_path: Path) -> None:
    cars = tmp_path / "cars.csv"
    rows = (fleet / "cars.csv").read_text("utf-8").splitlines()
    rows[-1] = rows[-1].replace("two litre", "three litre")
    cars.write_text("\n".join(rows) + "\n", "utf-8")
    given = ("survey", fleet / "recordings", "--cars", cars, "--workers", "0")
    one = run(*given, "--out", tmp_path / "f", "--learn-family", tmp_path / "one.toml")
    assert one.exit_code == 2
    assert "would be the file of 2 families (three litre, two litre)" in one.stderr
    each = run(*given, "--out", tmp_path / "f", "--learn-family", tmp_path / "{family}.toml")
    assert each.exit_code == 0, each.stderr
    assert (tmp_path / "two-litre.toml").exists()
    assert 'three litre": 1 car to learn from, at least 8 are needed' in each.stderr


def test_the_table_of_cars_among_the_recordings_is_none_of_them(
    run: Run, recording: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "recordings"
    folder.mkdir()
    (folder / "van_1.csv").write_bytes(recording.read_bytes())
    table = folder / "cars.csv"
    table.write_text("car,displacement_l,metering\nvan,1.6,airflow\n", "utf-8")
    found = run("family", "learn", folder, "--cars", table, "-o", tmp_path / "f.toml")
    assert found.exit_code == 2
    assert "cars.csv" not in found.stdout + found.stderr
