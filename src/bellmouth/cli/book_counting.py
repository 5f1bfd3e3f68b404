"""``bellmouth book comebacks`` and ``readings``: what the whole book says of the work itself."""

from dataclasses import asdict

import click

from bellmouth.cli.book import opened
from bellmouth.cli.speaking import teller

__all__ = ["comebacks_command", "readings_command"]

_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")


@click.command("comebacks", short_help="Which jobs came back, by what was done and by whom.")
@click.option(
    "--within",
    "within_days",
    type=click.IntRange(1, 3650),
    default=90,
    show_default=True,
    metavar="DAYS",
    help="A job that is back by then is a comeback; younger ones are not counted yet.",
)
@_JSON
@click.pass_context
def comebacks_command(context: click.Context, within_days: int, as_json: bool) -> None:
    """Say how many jobs came back: all, by work, by learning procedure, by gasket, by person.

    A comeback is what was opened with --comeback-of. Few jobs say little: every share comes with
    the range that holds it nine times in ten.
    """
    from bellmouth.pages import book_counts_screen  # noqa: PLC0415
    from bellmouth.pages.document import to_json  # noqa: PLC0415

    found = opened(context).comebacks(within_days=within_days)
    if as_json:
        click.echo(to_json(asdict(found)))
    else:
        book_counts_screen.print_comebacks(found, teller())


@click.command("readings", short_help="How far two people's readings of one car lie apart.")
@_JSON
@click.pass_context
def readings_command(context: click.Context, as_json: bool) -> None:
    """Say how far readings of one car lie apart: by one person twice, and by two people.

    Counted are recordings that were added with --by, of one car between two pieces of work.
    """
    from bellmouth.pages import book_counts_screen  # noqa: PLC0415
    from bellmouth.pages.document import to_json  # noqa: PLC0415

    found = opened(context).spreads()
    if as_json:
        click.echo(to_json({"quantities": [asdict(one) for one in found]}))
    else:
        book_counts_screen.print_spreads(found, teller())
