"""The documentation tells the truth: everything is in it, and its examples run."""

import importlib.util
import json
import re
import tomllib
from pathlib import Path
from types import ModuleType

import click
import jsonschema
import pytest

from bellmouth import read_car, read_recording
from bellmouth.cli import main
from bellmouth.finding.causes import CAUSES
from bellmouth.pages.words import cause_words

ROOT = Path(__file__).parents[2]
PAGES = sorted([*ROOT.glob("docs/*.md"), ROOT / "README.md", ROOT / "CONTRIBUTING.md"])
Block = tuple[str, str]


def _id(path: Path) -> str:
    return path.name


def _blocks(language: str) -> list[Block]:
    found = re.compile(rf"^```{language}\n(.*?)^```", re.DOTALL | re.MULTILINE)
    return [(p.name, text) for p in PAGES for text in found.findall(p.read_text("utf-8"))]


def _commands() -> dict[str, click.Command]:
    context = click.Context(main)
    named = {name: main.get_command(context, name) for name in main.list_commands(context)}
    return {name: command for name, command in named.items() if command is not None}


@pytest.fixture(scope="module")
def cli_page() -> str:
    return (ROOT / "docs" / "cli.md").read_text("utf-8")


@pytest.fixture(scope="module")
def writer() -> ModuleType:
    spec = importlib.util.spec_from_file_location("write_cli", ROOT / "docs" / "write_cli.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_help_texts_in_the_documentation_are_not_stale(
    cli_page: str, writer: ModuleType
) -> None:
    assert writer.with_help(cli_page) == cli_page, "run: python docs/write_cli.py"


def test_the_page_of_inner_commands_is_not_stale_and_has_every_option(writer: ModuleType) -> None:
    page = (ROOT / "docs" / "subcommands.md").read_text("utf-8")
    assert writer.subcommands() == page, "run: python docs/write_cli.py"
    for name, group in _commands().items():
        inner = group.commands if isinstance(group, click.Group) else {}
        for word, command in inner.items():
            shown = page.split(f"\n## {name} {word}\n")[1].split("\n## ")[0]
            options = [one for one in command.params if isinstance(one, click.Option)]
            assert [one.name for one in options if one.opts[0] not in shown] == []


@pytest.mark.parametrize("name", list(_commands()))
def test_every_command_has_its_section(cli_page: str, name: str) -> None:
    assert f"\n## {name}\n" in cli_page


def test_every_option_of_find_is_explained(cli_page: str) -> None:
    explained = re.findall(r"^(`-.*)\n: ", cli_page, re.MULTILINE)
    for option in _commands()["find"].params:
        if isinstance(option, click.Option):
            assert any(name in line for name in option.opts for line in explained), option.name


@pytest.mark.parametrize("cause", ["healthy", "unexplained", *CAUSES])
def test_every_cause_is_in_the_glossary(cause: str) -> None:
    glossary = (ROOT / "docs" / "glossary.md").read_text("utf-8")
    row = re.search(rf"^\| `{cause}` \| .* \| (\S*) ?\|$", glossary, re.MULTILINE)
    assert row is not None
    assert row[1] == (CAUSES[cause].unit if cause in CAUSES else "")
    assert cause_words(cause) != cause


@pytest.mark.parametrize("command", list(_commands()))
def test_every_command_is_in_the_readme_or_the_command_page(command: str, cli_page: str) -> None:
    assert f"bellmouth {command}" in cli_page


@pytest.mark.parametrize(("page", "text"), _blocks("toml"))
def test_every_toml_example_is_toml_and_every_car_a_car(
    page: str, text: str, tmp_path: Path
) -> None:
    assert page
    table = tomllib.loads(text)
    if "displacement_l" in table:
        path = tmp_path / "car.toml"
        path.write_text(text, "utf-8")
        assert read_car(path).displacement_l.value == pytest.approx(
            table["displacement_l"]
            if isinstance(table["displacement_l"], int | float)
            else table["displacement_l"]["value"]
        )


@pytest.mark.parametrize(("page", "text"), _blocks("json"))
def test_every_finding_shown_follows_the_schema(page: str, text: str) -> None:
    document = json.loads(text)
    schema = json.loads((ROOT / "docs" / "finding.schema.json").read_text("utf-8"))
    if "causes" in document:
        jsonschema.validate(document, schema)
        total = sum(cause["probability"] for cause in document["causes"])
        assert total == pytest.approx(1.0), page


def _recordings() -> list[Block]:
    return [(p, text) for p, text in _blocks("(?:text|csv)") if text.startswith("time [s]")]


@pytest.mark.parametrize(("page", "text"), _recordings())
def test_every_recording_shown_can_be_read(page: str, text: str, tmp_path: Path) -> None:
    path = tmp_path / "shown.csv"
    path.write_text(text, "utf-8")
    assert read_recording(path).unmapped == (), page


@pytest.mark.parametrize(("page", "text"), _blocks("python"))
def test_every_python_example_runs(
    page: str, text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    demo = ROOT / "src" / "bellmouth" / "data" / "demo"
    for name in ("recording.csv", "car.toml"):
        (tmp_path / name).write_bytes((demo / name).read_bytes())
    # Another recording of the same car: the examples may compare two.
    rows = (demo / "recording.csv").read_text("utf-8").splitlines()
    title, *lines = (one.split(",", 1) for one in rows[:-40])
    slower = [f"{1.013 * float(at):.3f},{rest}" for at, rest in lines]
    (tmp_path / "after.csv").write_text("\n".join([",".join(title), *slower]) + "\n", "utf-8")
    monkeypatch.chdir(tmp_path)
    exec(compile(text, page, "exec"), {})  # noqa: S102 - our own documentation


def _command_lines() -> list[Block]:
    return [
        (page, line.removeprefix("$ ").split("#")[0].strip())
        for page, text in _blocks("console")
        for line in text.splitlines()
        if line.startswith("$ bellmouth ")
    ]


@pytest.mark.parametrize(("page", "line"), _command_lines())
def test_every_command_line_shown_has_options_that_exist(page: str, line: str) -> None:
    words = line.split(">", maxsplit=1)[0].split()[1:]
    command = _commands()[words[0]]
    if isinstance(command, click.Group) and words[1:]:
        inner = command.get_command(click.Context(command), words[1])
        command = inner if inner is not None else command
    known = {name for option in command.params for name in option.opts}
    assert {word for word in words if word.startswith("--")} <= known | {"--help"}, page


@pytest.mark.parametrize("page", PAGES, ids=_id)
def test_every_link_inside_the_repository_leads_somewhere(page: Path) -> None:
    text = page.read_text("utf-8")
    for target in re.findall(r"\]\(([^)#:\s]+)(?:#[^)]*)?\)", text):
        assert (page.parent / target).exists(), target
    for target in re.findall(r"\{doc\}`(?:[^`<]*<)?([\w/]+)>?`", text):
        assert (ROOT / "docs" / f"{target}.md").exists(), target


def test_the_readme_says_what_the_job_is_before_anything_else() -> None:
    first = (ROOT / "README.md").read_text("utf-8").split("\n\n")[1]
    assert "recording of a petrol engine" in first
    assert "wrong with its air path" in first


def test_the_picture_of_the_tour_is_small() -> None:
    picture = ROOT / "docs" / "pictures" / "report.png"
    assert 10_000 < picture.stat().st_size < 300_000


def test_the_targets_of_the_makefile_are_the_ones_promised() -> None:
    makefile = (ROOT / "Makefile").read_text("utf-8")
    targets = set(re.findall(r"^([a-z]+):", makefile, re.MULTILINE))
    promised = "demo test lint docs bench accuracy real soak clean"
    assert set(promised.split()) <= targets
