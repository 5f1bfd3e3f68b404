"""Write the help texts into ``docs/cli.md``: ``python docs/write_cli.py``. A test looks whether
they are stale."""

import re
from pathlib import Path

from bellmouth.cli import main

__all__ = ["help_texts", "with_help"]

PAGE = Path(__file__).with_name("cli.md")
_BLOCK = re.compile(r"(<!-- help: ([\w ]+) -->\n```text\n).*?(```)", re.DOTALL)


def help_texts() -> dict[str, str]:
    """Each command's ``--help``, 80 columns wide, by what is typed to get it."""
    top = main.make_context("bellmouth", [], resilient_parsing=True, terminal_width=80)
    texts = {"bellmouth": main.get_help(top)}
    for name in main.list_commands(top):
        command = main.get_command(top, name)
        if command is not None:
            context = command.make_context(
                name, [], parent=top, resilient_parsing=True, terminal_width=80
            )
            texts[f"bellmouth {name}"] = command.get_help(context)
    return texts


def with_help(page: str) -> str:
    """The page with each marked block replaced by the command's help as it is now."""
    texts = help_texts()
    return _BLOCK.sub(lambda found: f"{found[1]}{texts[found[2]].rstrip()}\n{found[3]}", page)


if __name__ == "__main__":
    PAGE.write_text(with_help(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
