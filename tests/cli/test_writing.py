"""No command replaces a file unasked."""

from pathlib import Path

import pytest

from bellmouth.cli.writing import refuse_existing
from bellmouth.errors import BellmouthError
from tests.cli.conftest import Run


@pytest.mark.parametrize(
    "words",
    [
        ("demo", "--report"),
        ("find", "gone.csv", "--car", "gone.toml", "--report"),
        ("prove", "gone.csv", "gone.csv", "--car", "gone.toml", "--report"),
        ("survey", "gone", "--cars", "gone.csv", "--out", "out", "--report"),
        ("card", "--car", "gone.toml", "--html"),
        ("card", "--car", "gone.toml", "--pdf"),
        ("convert", "gone.csv"),
        ("coach", "P4", "--html"),
        ("practice", "--seconds", "0", "--write-car"),
    ],
)
def test_a_file_that_is_there_stays(
    run: Run, words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    mine = tmp_path / "mine.csv"
    mine.write_text("mine", "utf-8")
    result = run(*words, "mine.csv")
    assert result.exit_code == 2
    assert result.stderr == (
        "bellmouth: mine.csv: is there already. Choose another name, or add --overwrite.\n"
    )
    assert mine.read_text("utf-8") == "mine"


def test_it_is_replaced_where_that_is_wanted(tmp_path: Path) -> None:
    there = tmp_path / "there"
    refuse_existing(there, None, overwrite=False)
    there.touch()
    refuse_existing(there, overwrite=True)
    with pytest.raises(BellmouthError, match="there: is there already"):
        refuse_existing(None, there, overwrite=False)


@pytest.mark.parametrize(
    "words",
    [
        ("find", "mine.csv", "--car", "car.toml", "--report", "mine.csv"),
        ("find", "mine.csv", "--car", "car.toml", "--report", "./car.toml"),
        ("find", "a.csv", "--car", "car.toml", "--reference", "mine.csv", "--report", "mine.csv"),
        ("find", "new.csv", "--car", "car.toml", "--live", "--report", "new.csv"),
        ("prove", "a.csv", "mine.csv", "--car", "car.toml", "--report", "mine.csv"),
        ("survey", "mine.csv", "--cars", "c.csv", "--out", "out", "--report", "mine.csv"),
        ("card", "--car", "car.toml", "--recording", "mine.csv", "--pdf", "mine.csv"),
        ("card", "--car", "car.toml", "--html", "new.html", "--pdf", "new.html"),
    ],
)
def test_what_a_command_reads_is_never_replaced(
    run: Run, words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """``find mine.csv --report mine.csv --overwrite`` left a page and no recording."""
    monkeypatch.chdir(tmp_path)
    for name in ("mine.csv", "car.toml"):
        (tmp_path / name).write_text("mine", "utf-8")
    result = run(*words, "--overwrite")
    assert result.exit_code == 2
    assert "is given for something else in this command, too, and would be lost" in result.stderr
    assert {path.name: path.read_text("utf-8") for path in tmp_path.iterdir()} == {
        "mine.csv": "mine",
        "car.toml": "mine",
    }
