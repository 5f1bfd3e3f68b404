"""``bellmouth family``: learn what an engine family's cars have in common, and show it."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bellmouth.cli.completing import files
from bellmouth.cli.speaking import Speaking, say, teller, words
from bellmouth.cli.writing import refuse_nowhere

if TYPE_CHECKING:
    from bellmouth.finding.family import Growth

__all__ = ["command"]

_FILE = click.Path(path_type=Path)


@click.group("family", cls=Speaking, short_help="What an engine family's cars have in common.")
def command() -> None:
    """Learn an engine family from its cars' recordings, and show what was learnt.

    Give the file to bellmouth find, prove and book forecast with --family.
    """


@command.command("learn", short_help="Learn a family from its cars' recordings.")
@click.argument("recordings", nargs=-1, required=True, metavar="RECORDINGS…", shell_complete=files)
@click.option(
    "--cars",
    required=True,
    shell_complete=files,
    metavar="FILE",
    help="Table of the cars (Parquet or CSV), as bellmouth survey takes it.",
)
@click.option(
    "-o", "--out", type=_FILE, required=True, metavar="FILE", help="Where the family goes (TOML)."
)
@click.option(
    "--name", metavar="NAME", help="The family, where the table of cars has more than one."
)
@click.option(
    "--book",
    metavar="PLACE",
    help="Also learn how fast they get dirty, from a book's cars of this kind.",
)
def learn(
    recordings: tuple[str, ...], cars: str, out: Path, name: str | None, book: str | None
) -> None:
    """Learn what the cars in RECORDINGS have in common, faulty ones among them.

    Nobody need say which are faulty: the share is estimated. At least eight cars are needed.
    """
    from rich.console import Console  # noqa: PLC0415

    from bellmouth.cli.waiting import waiting  # noqa: PLC0415 - --help stays quick
    from bellmouth.errors import FindingError  # noqa: PLC0415
    from bellmouth.fleet.family import learn_family  # noqa: PLC0415
    from bellmouth.fleet.family_files import examples_of, family_name  # noqa: PLC0415
    from bellmouth.fleet.inputs import read_cars  # noqa: PLC0415
    from bellmouth.pages.family_screen import (  # noqa: PLC0415
        off_words,
        print_family,
        print_foretold,
        print_left_out,
    )
    from bellmouth.pages.teller import Teller  # noqa: PLC0415

    _refuse_existing(out)
    table = read_cars(cars)
    chosen = family_name(table, name)
    with waiting(words().text("Reading the recordings")):
        examples, unread = examples_of(recordings, table, chosen, leaving_out=(cars, out))
    with waiting(words().text("Learning the family")):
        growth = None if book is None else _growth(book, chosen)
        try:
            learned = learn_family(examples, chosen, growth=growth)
        except FindingError:
            print_left_out(unread, (), Teller(Console(stderr=True), words()))
            raise
    learned.family.write(out)
    to = teller()
    strange = [examples[place].source for place, p in learned.belongs.items() if p < 0.5]
    print_family(learned.family, to)
    off = [
        off_words(examples[place].source, *found) for place, found in learned.slightly_off().items()
    ]
    print_foretold(learned.left_out.gain, off, to)
    print_left_out((*unread, *learned.refused), strange, to)
    click.echo()
    say("Family: {0}", out)


@command.command("show", short_help="Show what a family file says.")
@click.argument("family", type=_FILE, metavar="FILE")
@click.option("--json", "as_json", is_flag=True, help="Print it as one JSON document.")
def show(family: Path, as_json: bool) -> None:
    """Show what the family file FILE says, beside what is assumed of any car."""
    from bellmouth.finding.family import read_family  # noqa: PLC0415 - --help stays quick

    found = read_family(family)
    if as_json:
        click.echo(json.dumps(found.document(), indent=2, ensure_ascii=False))
        return
    from bellmouth.pages.family_screen import print_family  # noqa: PLC0415

    print_family(found, teller())


def _refuse_existing(out: Path) -> None:
    from bellmouth.errors import FindingError  # noqa: PLC0415

    if out.exists():
        raise FindingError(
            f"{out}: is there already. Give another -o, or remove it; nothing was overwritten."
        )
    refuse_nowhere(out)


def _growth(book: str, kind: str) -> "Growth":
    from bellmouth.book import Book  # noqa: PLC0415
    from bellmouth.book.family_growth import learn_growth  # noqa: PLC0415
    from bellmouth.book.histories import visits_of_kind  # noqa: PLC0415

    with Book(book) as opened:
        return learn_growth(visits_of_kind(opened, kind))
