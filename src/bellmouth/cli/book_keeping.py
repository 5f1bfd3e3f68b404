"""``bellmouth book export``, ``import``, ``backup``, ``check`` and ``delete``."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from bellmouth.cli.book import opened
from bellmouth.cli.speaking import say, words
from bellmouth.cli.writing import refuse_nowhere

if TYPE_CHECKING:
    from bellmouth.book.book import Book

__all__ = [
    "backup_command",
    "check_command",
    "delete_command",
    "export_command",
    "import_command",
]

_FILE = click.Path(path_type=Path)
_FILES_SHOWN = 5


@click.command("export", short_help="Write a whole car as one open archive.")
@click.argument("name", metavar="CAR")
@click.argument("out", type=_FILE, metavar="OUT")
@click.option("--with-identification", is_flag=True, help="Leave the identification number in.")
@click.option("--overwrite", is_flag=True, help="Replace OUT where it is there already.")
@click.pass_context
def export_command(
    context: click.Context, name: str, out: Path, with_identification: bool, overwrite: bool
) -> None:
    """Write CAR with everything of it to OUT, a zip file of JSON, Parquet and pictures."""
    refuse_nowhere(out)
    book = opened(context)
    names = book.export(name, out, with_identification=with_identification, overwrite=overwrite)
    say("{0}: {1} with {2} recordings and photos.", out, name, len(names) - 2)
    if not with_identification:
        say("The identification number is masked (--with-identification leaves it in).")


@click.command("import", short_help="Add the car of an archive.")
@click.argument("archive", type=_FILE, metavar="IN")
@click.pass_context
def import_command(context: click.Context, archive: Path) -> None:
    """Add the car of the archive IN to the book, exactly as it was exported."""
    history = opened(context, make=True).import_(archive)
    say("{0}: {1} entries imported.", history.name, len(history.entries))


@click.command("backup", short_help="Copy the book while it is in use.")
@click.argument("folder", type=_FILE, metavar="FOLDER")
@click.pass_context
def backup_command(context: click.Context, folder: Path) -> None:
    """Copy the whole book into the new FOLDER. Others may go on writing it."""
    made = opened(context).back_up(folder)
    say("{0}: backed up. Use it with --book {0}.", made)


@click.command("check", short_help="Whether the book is whole.")
@click.option(
    "--sweep", is_flag=True, help="Remove files that no entry names (a crash leaves such)."
)
@click.pass_context
def check_command(context: click.Context, sweep: bool) -> None:
    """Check the database, and every recording and photo against its hash.

    The exit code is 1 where something is wrong.
    """
    found = opened(context).check(sweep=sweep)
    for problem in found.problems:
        click.echo(f"- {words().told(problem)}")
    if found.loose:
        done = "were removed" if sweep else "may be removed with --sweep"
        say(f"{len(found.loose)} files belong to no entry and {done}.")
    whole = "whole" if not found.problems else "NOT whole"
    cars = "1 car" if found.cars == 1 else f"{found.cars} cars"
    entries = "1 entry" if found.entries == 1 else f"{found.entries} entries"
    say(f"{cars}, {entries}: the book is {whole}.")
    context.exit(1 if found.problems else 0)


@click.command("delete", short_help="Delete a car for good.")
@click.argument("name", required=False, metavar="[CAR]")
@click.option("--expired", is_flag=True, help="Delete every car whose keep-until day is past.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.pass_context
def delete_command(context: click.Context, name: str | None, expired: bool, yes: bool) -> None:
    """Delete CAR for good: its entries, its recordings and its photos.

    This is the one thing the book ever forgets. Backups and exports made before still hold it.
    The exit code is 1 where the answer was no.
    """
    book = opened(context)
    if expired == (name is not None):
        raise click.UsageError("Name the car, or say --expired.")
    names = book.expired() if expired else (str(name),)
    if not names:
        say("No car's keep-until day is past.")
        return
    for one in names:
        _tell(book, one)
    if not yes and not _is_wanted():
        say("Nothing was deleted.")
        context.exit(1)
    for one in names:
        book.delete(one)
        say("{0}: deleted for good. Backups and exports made before still hold it.", one)


def _is_wanted() -> bool:
    """Whether somebody says so, having seen what goes."""
    try:
        return click.confirm(words().text("Delete for good?"))
    except click.Abort:  # nobody there to ask, or ctrl-C: all of it stays either way
        click.echo()
        return False


def _tell(book: "Book", name: str) -> None:
    taken = book.would_delete(name)
    files = len(taken.files)
    say("{0}: {1} entries and {2} files would be deleted.", name, taken.entries, files)
    for file in taken.files[:_FILES_SHOWN]:
        click.echo(f"  {file}")
    if len(taken.files) > _FILES_SHOWN:
        say("  and {0} more", len(taken.files) - _FILES_SHOWN)
