"""The other commands, help texts and exit codes."""

import io
import json
import os
import shlex
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from bellmouth import __version__
from bellmouth.cli import main
from bellmouth.cli.group import Commands
from bellmouth.cli.waiting import waiting
from tests.cli.conftest import Run

COMMANDS = main.list_commands(click.Context(main))


def test_the_package_runs_as_a_module() -> None:
    """For whoever has no entry point on the path."""
    words = [sys.executable, "-m", "bellmouth", "--version"]
    told = subprocess.run(words, capture_output=True, text=True, check=True)
    assert told.stdout == f"bellmouth, version {__version__}\n"


def test_the_commands_are_the_ones_promised() -> None:
    assert isinstance(main, Commands)
    promised = {
        "find", "record", "prove", "check", "demo", "causes", "checks", "completion", "convert",
        "codes", "monitors", "clear", "practice", "procedures", "judge", "coach", "card", "book",
        "serve", "survey", "family",
    }  # fmt: skip
    assert COMMANDS[0] == "find"
    assert set(COMMANDS) == promised
    assert len(COMMANDS) == len(promised)


def test_no_command_at_all_shows_the_help_as_it_is_meant_to_be_read(run: Run) -> None:
    ran = run()
    assert ran.exit_code == 2
    assert "\nCommands:\n" in ran.output


def test_version(run: Run) -> None:
    assert run("--version").stdout == f"bellmouth, version {__version__}\n"


@pytest.mark.parametrize("words", [["--help"], *([name, "--help"] for name in COMMANDS)])
def test_every_command_explains_itself(run: Run, words: list[str]) -> None:
    ran = run(*words)
    assert ran.exit_code == 0
    assert ran.stdout.startswith("Usage: ")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_has_a_help_text(name: str) -> None:
    command = main.get_command(click.Context(main), name)
    assert command is not None
    options = [option for option in command.params if isinstance(option, click.Option)]
    assert [option.name for option in options if not option.help] == []


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_prints_a_script_for_the_shell(run: Run, shell: str) -> None:
    ran = run("completion", shell)
    assert ran.exit_code == 0
    assert "_BELLMOUTH_COMPLETE" in ran.stdout


def test_the_tab_key_offers_complaints(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("_BELLMOUTH_COMPLETE", "bash_complete")
    monkeypatch.setenv("COMP_WORDS", "bellmouth find x.csv --complaint hi")
    monkeypatch.setenv("COMP_CWORD", "4")
    ran = CliRunner().invoke(main, [], prog_name="bellmouth")
    assert ran.stdout.strip() == "plain,high idle"


@pytest.mark.parametrize(
    ("line", "offered"),
    [
        ("bellmouth find x.csv --complaint hi", "high\\ idle"),
        ("bellmouth find x.csv --complaint 'hi", "high idle"),
        ("bellmouth coach throttle-closed-position-", "throttle-closed-position-cold"),
        ("bellmouth book add x work clean_p", "clean_plate"),
        ("bellmouth chec", "check checks"),
    ],
)
@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
def test_bash_puts_on_the_line_what_can_be_run(
    run: Run, tmp_path: Path, line: str, offered: str
) -> None:
    program = tmp_path / "bellmouth"
    program.write_text(f"#!{sys.executable}\nfrom bellmouth.cli import main\n\nmain()\n", "utf-8")
    program.chmod(0o755)
    words = shlex.join(line.split(" "))
    script = run("completion", "bash").stdout + (
        f"COMP_WORDS=({words}) COMP_CWORD=$((${{#COMP_WORDS[@]}} - 1))\n"
        '_bellmouth_completion bellmouth\necho "${COMPREPLY[*]}"\n'
    )
    path = f"{tmp_path}{os.pathsep}{os.environ['PATH']}"
    ran = subprocess.run(
        ["bash", "--norc", "-c", script],
        env={**os.environ, "PATH": path},
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    assert (ran.stdout, ran.stderr) == (f"{offered}\n", "")


@pytest.mark.parametrize(
    "line",
    ["survey ", "survey a --cars ca", "family learn re", "book add x recording re",
     "coach mine/", "judge a.csv --procedure mine/", "procedures show mine/"],
)  # fmt: skip
def test_the_tab_key_offers_files_where_files_are_taken(
    monkeypatch: pytest.MonkeyPatch, line: str
) -> None:
    words = f"bellmouth {line}".split(" ")
    monkeypatch.setenv("_BELLMOUTH_COMPLETE", "bash_complete")
    monkeypatch.setenv("COMP_WORDS", " ".join(words))
    monkeypatch.setenv("COMP_CWORD", str(len(words) - 1))
    ran = CliRunner().invoke(main, [], prog_name="bellmouth")
    assert ran.stdout.strip() == f"file,{words[-1]}"


def test_causes_lists_them(run: Run) -> None:
    assert "learned_stale" in run("causes").stdout


def test_check_says_what_can_be_used(run: Run, recording: Path) -> None:
    ran = run("check", recording)
    assert ran.exit_code == 0
    assert "recording.csv can be used" in ran.stdout
    assert "engine speed" in ran.stdout
    document = json.loads(run("check", recording, "--json").stdout)
    assert document["usable"] is True
    assert "engine_speed" in [one["name"] for one in document["parameters"]]


def test_check_answers_no_with_exit_code_1(run: Run, tmp_path: Path) -> None:
    off = tmp_path / "off.csv"
    rows = "".join(f"{t},0\n" for t in range(60))
    off.write_text(f"time [s],engine_speed [rpm]\n{rows}", "utf-8")
    ran = run("check", off)
    assert ran.exit_code == 1
    assert "off.csv cannot be used" in ran.stdout
    assert "The engine was off throughout" in ran.stdout
    assert json.loads(run("check", off, "--json").stdout)["usable"] is False


def test_demo_tells_its_story_and_finds_the_fault(run: Run, tmp_path: Path) -> None:
    page = tmp_path / "demo.html"
    ran = run("demo", "--report", page)
    assert ran.exit_code == 0
    assert "does not exist" in ran.stdout
    assert page.exists()


def test_demo_json_is_one_document(run: Run) -> None:
    document = json.loads(run("demo", "--json").stdout)
    assert document["causes"][0]["cause"] == "leak"


def test_waiting_is_silent_where_nobody_watches(capfd: pytest.CaptureFixture[str]) -> None:
    with waiting("Weighing", patience_s=0.0):
        pass
    assert capfd.readouterr() == ("", "")


def test_waiting_says_what_takes_so_long(monkeypatch: pytest.MonkeyPatch) -> None:
    class Watched(io.StringIO):
        def isatty(self) -> bool:
            return True

    watched = Watched()
    monkeypatch.setattr("sys.stderr", watched)
    monkeypatch.setenv("TERM", "xterm")
    with waiting("Weighing the causes", patience_s=0.0):
        for _ in range(500):
            if "Weighing" in watched.getvalue():
                break
            threading.Event().wait(0.01)
    assert "Weighing the causes" in watched.getvalue()
