"""``bellmouth book``: the history of every car, and when each is next due."""

from importlib import import_module
from typing import TYPE_CHECKING

import click

from bellmouth.cli.speaking import in_language

if TYPE_CHECKING:
    from bellmouth.book.book import Book

__all__ = ["command", "kilometres", "opened"]

_KM_PER_MILE = 1.609344

# Each stands in the module whose name follows, and is loaded when it is called for.
_WORDS = {
    "car": "book_writing",
    "open": "book_writing",
    "add": "book_adding",
    "show": "book_reading",
    "due": "book_reading",
    "forecast": "book_reading",
    "comebacks": "book_counting",
    "readings": "book_counting",
    "recompute": "book_reading",
    "export": "book_keeping",
    "import": "book_keeping",
    "backup": "book_keeping",
    "check": "book_keeping",
    "delete": "book_keeping",
}


class _Words(click.Group):
    """The words after ``book``."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return list(_WORDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in _WORDS:
            return None
        module = import_module(f"bellmouth.cli.{_WORDS[cmd_name]}")
        found = getattr(module, f"{cmd_name}_command")
        return in_language(found) if isinstance(found, click.Command) else None


@in_language
@click.command("book", cls=_Words, short_help="The cars' histories, and when each is due.")
@click.option(
    "--book",
    "where",
    metavar="PLACE",
    help="Folder of the book, or postgresql://user@host/name (default: BELLMOUTH_BOOK, else "
    "~/.local/share/bellmouth).",
)
@click.pass_context
def command(context: click.Context, where: str | None) -> None:
    """Keep what happened to each car, and say when to inspect it next.

    Begin a car with: bellmouth book car NAME --file car.toml
    """
    context.obj = where


def opened(context: click.Context, *, make: bool = False) -> "Book":
    """The book that the command line names; ``make`` begins a new one where there is none."""
    from bellmouth.book import Book  # noqa: PLC0415 - --help stays quick

    return context.with_resource(Book(context.obj, make=make))


def kilometres(
    _: click.Context | None, __: click.Parameter | None, text: str | None
) -> float | None:
    """An odometer from what was typed: kilometres, or miles where ``mi`` follows. [km]"""
    if text is None:
        return None
    from bellmouth.book.rules import odometer  # noqa: PLC0415 - --help stays quick

    plain = text.lower().replace(" ", "").replace("_", "")
    factor = _KM_PER_MILE if plain.endswith("mi") else 1.0
    try:
        return odometer(plain.removesuffix("km").removesuffix("mi")) * factor
    except ValueError:
        raise click.BadParameter(
            f"{text!r} is no distance: write kilometres, such as 142000, or miles, 88000mi."
        ) from None
