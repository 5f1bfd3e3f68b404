"""Write the help texts into ``docs/cli.md``, and those of commands that have commands of their own
into ``docs/subcommands.md``: ``python docs/write_cli.py``. A test looks whether they are stale."""

import re
from pathlib import Path

import click

from bellmouth.cli import main

__all__ = ["help_texts", "subcommands", "with_help"]

PAGE = Path(__file__).with_name("cli.md")
INNER = Path(__file__).with_name("subcommands.md")
_BLOCK = re.compile(r"(<!-- help: ([\w ]+) -->\n```text\n).*?(```)", re.DOTALL)
_HEAD = """# Commands inside commands

`bellmouth book`, `family` and `procedures` hold commands of their own. Here each has its help text
in full, as `--help` prints it; what they are for stands in {doc}`book`, {doc}`family` and
{doc}`procedures`.
"""


def help_texts() -> dict[str, str]:
    """Each command's ``--help``, 80 columns wide, by what is typed to get it."""
    top = main.make_context("bellmouth", [], resilient_parsing=True, terminal_width=80)
    return {"bellmouth": main.get_help(top), **_inside(main, top)}


def _inside(group: click.Group, context: click.Context) -> dict[str, str]:
    """The help of each command of a group, and of what is inside it in its turn."""
    texts: dict[str, str] = {}
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        if command is None:
            continue
        own = command.make_context(
            name, [], parent=context, resilient_parsing=True, terminal_width=80
        )
        texts[own.command_path] = command.get_help(own)
        if isinstance(command, click.Group):
            texts |= _inside(command, own)
    return texts


def with_help(page: str) -> str:
    """The page with each marked block replaced by the command's help as it is now."""
    texts = help_texts()
    return _BLOCK.sub(lambda found: f"{found[1]}{texts[found[2]].rstrip()}\n{found[3]}", page)


def subcommands() -> str:
    """The page of the commands that stand inside another."""
    inner = {path: text for path, text in help_texts().items() if path.count(" ") > 1}
    parts = [
        f"## {path.removeprefix('bellmouth ')}\n\n```text\n{text.rstrip()}\n```\n"
        for path, text in inner.items()
    ]
    return "\n".join([_HEAD, *parts])


if __name__ == "__main__":
    PAGE.write_text(with_help(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
    INNER.write_text(subcommands(), encoding="utf-8")
