"""The findings of a survey on disk: their published schema, taken up after a break, damage."""

import json
import shutil
from pathlib import Path

import jsonschema
import polars as pl
import pytest

from bellmouth.errors import BellmouthError
from bellmouth.fleet.parts import Findings, open_findings
from bellmouth.fleet.rows import SCHEMA, refusal
from bellmouth.fleet.survey import survey
from tests.fleet.cars import make_fleet

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, Findings]:
    """Recordings, cars and the findings of a whole survey of them."""
    folder = tmp_path_factory.mktemp("parts")
    recordings, cars = make_fleet(folder)
    return recordings, cars, survey([str(recordings)], cars, folder / "found", workers=0)


def test_what_is_written_follows_the_published_schema(
    written: tuple[Path, Path, Findings],
) -> None:
    schema = json.loads((ROOT / "docs" / "survey.schema.json").read_text("utf-8"))
    columns = {name: told["column"] for name, told in schema["properties"].items()}
    assert schema["required"] == list(columns)
    parts = sorted(written[2].folder.glob("*.parquet"))
    assert len(parts) == 2
    for part in parts:
        table = pl.read_parquet(part)
        # Order and type of the columns, and every row.
        assert {name: str(kind) for name, kind in table.schema.items()} == columns
        assert table.columns == list(columns)
        for row in table.iter_rows(named=True):
            jsonschema.validate(row, schema)
    row = {**refusal("a.csv", "1", "a", "", "damaged"), "cause": 1}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(row, schema)


def test_every_column_stands_in_the_guide() -> None:
    guide = (ROOT / "docs" / "survey.md").read_text("utf-8")
    for name in SCHEMA:
        told = name if f"`{name}`" in guide else f"`…_{name.rsplit('_', 1)[-1]}`"
        assert told.strip("`") in guide or name.startswith("present_"), name


def _begun(folder: Path) -> Findings:
    return open_findings(folder, "digest", ["recordings"])


def test_a_recording_that_changed_since_is_not_there_twice(tmp_path: Path) -> None:
    found = _begun(tmp_path / "f")
    found.add([refusal(name, "1", "a", "", "why") for name in ("a.csv", "b.csv")])
    found.add([refusal("", "c", "c", "", "no recording")])
    done = found.take_up({("a.csv", "1"), ("b.csv", "2")})
    assert done == {("a.csv", "1")}
    assert found.read()["recording"].to_list() == ["a.csv"]
    found.add([refusal("b.csv", "2", "a", "", "why")])
    assert found.read()["recording"].to_list() == ["a.csv", "b.csv"]


def test_what_a_kill_left_half_written_is_removed(tmp_path: Path) -> None:
    found = _begun(tmp_path / "f")
    (found.folder / "part-00.7.new").write_bytes(b"PAR1 half")
    assert found.take_up(set()) == set()
    assert list(found.folder.iterdir()) == []


def test_a_kill_before_the_folder_is_there_costs_nothing(tmp_path: Path) -> None:
    found = _begun(tmp_path / "f")
    found.folder.rmdir()
    assert _begun(tmp_path / "f").folder.is_dir()


def test_a_damaged_part_is_a_sentence_and_stays(
    written: tuple[Path, Path, Findings], tmp_path: Path
) -> None:
    found = Findings(Path(shutil.copytree(written[2].folder, tmp_path / "f")))
    part = max(found.folder.glob("*.parquet"))
    cut = part.read_bytes()[:-20]
    part.write_bytes(cut)
    sentence = rf"{part.name}: is damaged\. Remove this part and run the same survey again"
    for ask in (found.read, lambda: found.take_up(set())):
        with pytest.raises(BellmouthError, match=sentence):
            ask()
    assert part.read_bytes() == cut


def test_a_part_from_before_rows_had_the_metering_is_read(tmp_path: Path) -> None:
    found = _begun(tmp_path / "f")
    part = found.add([refusal("a.csv", "1", "a", "", "damaged", "pressure")])
    assert found.read()["metering"].to_list() == ["pressure"]
    pl.read_parquet(part).drop("metering").write_parquet(part)
    assert found.read()["metering"].to_list() == [None]
    pl.read_parquet(part).drop("cause").write_parquet(part)
    with pytest.raises(BellmouthError, match="is damaged"):
        found.read()


def test_one_survey_at_a_time_adds_to_a_folder(tmp_path: Path) -> None:
    found = _begun(tmp_path / "f")
    sentence = "another survey is at it"
    with found.held(), pytest.raises(BellmouthError, match=sentence), found.held():
        pass
    with Findings(found.folder).held():
        pass


def test_an_about_file_that_is_damaged_is_no_survey_of_mine(tmp_path: Path) -> None:
    found = _begun(tmp_path / "f")
    found.about.write_text("{", "utf-8")
    with pytest.raises(BellmouthError, match="is no survey of mine"):
        _begun(tmp_path / "f")


def test_findings_go_to_a_folder_of_this_machine(tmp_path: Path) -> None:
    with pytest.raises(BellmouthError, match=r"s3://bucket/f: findings are kept on this machine"):
        open_findings("s3://bucket/f", "digest", [str(tmp_path)])


def test_a_complete_survey_can_be_looked_at_again(
    written: tuple[Path, Path, Findings], monkeypatch: pytest.MonkeyPatch
) -> None:
    recordings, cars, found = written
    monkeypatch.setattr(Findings, "add", None)  # nothing may be judged or written
    again = survey([str(recordings)], cars, found.folder, workers=0, again=True)
    assert again.read().equals(found.read())
    with pytest.raises(BellmouthError, match="other recordings was begun there"):
        survey([str(recordings / "van02")], cars, found.folder, workers=0, again=True)
