"""The group of commands: loads each when it is called for, and turns bad input into a sentence."""

import sys
from collections.abc import Sequence
from contextlib import suppress
from difflib import get_close_matches
from importlib import import_module
from itertools import pairwise
from typing import Any, NoReturn

import click

from bellmouth import __version__
from bellmouth.cli.refusing import refusal
from bellmouth.cli.speaking import LANGUAGE
from bellmouth.cli.unread import write_on
from bellmouth.errors import BellmouthError

__all__ = ["BAD_INPUT", "Commands", "main"]

BAD_INPUT = 2
_INTERRUPTED = 130  # what a shell reports for a program that ctrl-C ended

_COMMANDS = (
    "find",
    "record",
    "codes",
    "monitors",
    "clear",
    "check",
    "card",
    "prove",
    "book",
    "demo",
    "causes",
    "checks",
    "serve",
    "survey",
    "family",
    "convert",
    "judge",
    "coach",
    "procedures",
    "practice",
    "completion",
)


class Commands(click.Group):
    """Commands that are imported one by one, so that none waits for another's libraries."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """The commands, the main one first."""
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Load one command; ``None`` where there is none of that name."""
        if cmd_name not in _COMMANDS:
            return None
        command = import_module(f"bellmouth.cli.{cmd_name}").command
        return command if isinstance(command, click.Command) else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that was typed; where there is none, the one that may be meant is named."""
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            # The library only looks among commands that are loaded.
            if not (close := get_close_matches(args[0], _COMMANDS, n=1)):
                raise
            asked = f"{error.message} Did you mean '{close[0]}'?"
            raise click.UsageError(asked, error.ctx) from error

    def main(self, args: Sequence[str] | None = None, *_: Any, **extra: Any) -> NoReturn:
        """Run, and leave with the exit code; a mistake of the user's never shows a traceback."""
        write_on()
        extra["standalone_mode"] = False
        extra["obj"] = chosen = dict[str, str]()
        given = sys.argv[1:] if args is None else args
        try:
            code = super().main(args, **extra)
        except click.exceptions.Abort:
            sys.exit(_INTERRUPTED)
        except click.exceptions.NoArgsIsHelpError as error:
            with suppress(OSError):
                click.echo(error.ctx.get_help())
            sys.exit(BAD_INPUT)
        except (click.ClickException, BellmouthError, OSError) as error:
            _refuse(refusal(error, {**_typed(given), **chosen}, given))
        sys.exit(code if isinstance(code, int) else 0)


def _typed(given: Sequence[str]) -> dict[str, str]:
    """The language that was typed where the command line was not read as far as it."""
    pairs = [one.partition("=")[::2] for one in given] + list(pairwise(given))
    said = [value for name, value in pairs if name == "--language" and value in ("en", "de")]
    return {LANGUAGE: said[-1]} if said else {}


def _refuse(sentence: str) -> NoReturn:
    with suppress(OSError):  # where nothing can be said, the exit code says it
        click.echo(f"bellmouth: {' '.join(sentence.split())}", err=True)
    sys.exit(BAD_INPUT)


@click.command(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="bellmouth")
def main() -> None:
    """Say what is wrong with a petrol engine's air path, how big it is and how sure that is.

    Start with: bellmouth find recording.csv --car car.toml
    """
