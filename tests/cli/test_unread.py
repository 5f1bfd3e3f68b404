"""A reader of the output that goes away early changes neither what is done nor the answer."""

import os
import subprocess
import sys
from pathlib import Path

import pytest


def _read_by_nobody(words: list[str | Path], end: str, **more: str) -> tuple[int, str]:
    """Exit code with the reader of ``end`` gone before anything is written; what the other said."""
    reading, writing = os.pipe()
    os.close(reading)
    streams: dict[str, int] = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, end: writing}
    try:
        ran = subprocess.run(
            [sys.executable, "-m", "bellmouth", *map(str, words)],
            env={**os.environ, "LC_ALL": "C", **more},
            check=False,
            stdin=subprocess.DEVNULL,
            **streams,  # type: ignore[call-overload]
        )
    finally:
        os.close(writing)
    return ran.returncode, (ran.stderr if end == "stdout" else ran.stdout).decode()


@pytest.mark.parametrize("more", [{}, {"PYTHONUNBUFFERED": "1"}])
def test_it_ends_well_and_quietly(more: dict[str, str]) -> None:
    assert _read_by_nobody(["causes"], "stdout", **more) == (0, "")


def test_the_exit_code_is_still_the_answer(recording: Path, tmp_path: Path) -> None:
    assert _read_by_nobody(["check", recording], "stdout") == (0, "")
    off = tmp_path / "off.csv"
    off.write_text(
        "time [s],engine_speed [rpm]\n" + "".join(f"{t},0\n" for t in range(60)), "utf-8"
    )
    assert _read_by_nobody(["check", off], "stdout") == (1, "")


def test_what_is_written_after_the_words_is_written(tmp_path: Path) -> None:
    card = tmp_path / "card.html"
    words: list[str | Path] = ["coach", "throttle-closed-position", "--card", "--html", card]
    assert _read_by_nobody(words, "stdout") == (0, "")
    assert card.is_file()


def test_a_refusal_that_nobody_reads_is_one_all_the_same() -> None:
    assert _read_by_nobody(["chekc"], "stderr") == (2, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no disk here that is always full")
@pytest.mark.parametrize("end", ["stdout", "stderr"])
def test_a_help_that_finds_no_room_is_no_traceback(end: str) -> None:
    words = ["book"] if end == "stdout" else ["chekc"]
    with Path("/dev/full").open("wb") as full:
        ran = subprocess.run(
            [sys.executable, "-m", "bellmouth", *words],
            env={**os.environ, "LC_ALL": "C"},
            check=False,
            stdout=full if end == "stdout" else subprocess.PIPE,
            stderr=full if end == "stderr" else subprocess.PIPE,
        )
    assert ran.returncode == 2
    assert (ran.stderr if end == "stdout" else ran.stdout) == b""
