"""How finely averaged readings are known stays with a recording that is converted."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from bellmouth.cli import main
from bellmouth.recording import read_recording
from bellmouth.recording.export import write_recording
from bellmouth.recording.kept_steps import steps_in, steps_text, with_kept_steps
from bellmouth.recording.quantum import quantum
from bellmouth.recording.series import Series
from tests.finding.worked import healthy


@pytest.fixture
def coarse(tmp_path: Path) -> Path:
    """A log whose clock counts whole seconds, several rows in each: readings are averaged."""
    lines = ["time [s],engine_speed [rpm],mass_air_flow [g/s]"]
    for row in range(800):
        low = 700 + 12 * (row * 7 % 5)
        lines.append(f"{row // 4},{low},{2.0 + 0.25 * (row * 3 % 4):g}")
    path = tmp_path / "coarse.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("ending", ["parquet", "mf4"])
def test_a_mean_is_known_no_better_for_being_converted(
    coarse: Path, tmp_path: Path, ending: str
) -> None:
    first = read_recording(coarse)
    assert first.series["mass_air_flow"].step == pytest.approx(0.25)
    write_recording(first, tmp_path / f"again.{ending}")
    again = read_recording(tmp_path / f"again.{ending}")
    for name, one in first.series.items():
        assert quantum(again.series[name]) == quantum(one)
        assert again.series[name].step == one.step


def test_a_csv_has_no_place_for_it_and_that_is_said(coarse: Path, tmp_path: Path) -> None:
    said = CliRunner().invoke(main, ["convert", str(coarse), str(tmp_path / "again.csv")])
    assert said.exit_code == 0
    assert "no place for how finely means are known" in said.output
    write_recording(read_recording(coarse), tmp_path / "fine.csv")
    assert read_recording(tmp_path / "fine.csv").series["mass_air_flow"].step is None


def test_nothing_is_written_where_nothing_is_known() -> None:
    assert steps_text(healthy().series) == ""


@pytest.mark.parametrize(
    "text", ["", '{"bellmouth-steps":', '{"bellmouth-steps":[1]}', '{"bellmouth-steps":3}']
)
def test_what_is_damaged_tells_nothing(text: str) -> None:
    assert steps_in(text) == {}


def test_a_step_that_is_none_is_passed_over() -> None:
    told = json.dumps({"a": 0.5, "b": -1.0, "c": "x", "d": True}, separators=(",", ":"))
    assert steps_in(f'other{{"bellmouth-steps":{told}}}more') == {"a": 0.5}


def test_a_kept_step_makes_none_finer() -> None:
    one = replace(next(iter(healthy().series.values())), step=0.5)
    kept: dict[str, Series] = with_kept_steps({"x": one}, {"x": 0.1})
    assert kept["x"].step == 0.5
