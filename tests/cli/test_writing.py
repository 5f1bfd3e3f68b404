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
