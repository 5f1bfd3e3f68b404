"""``bellmouth book show``, ``due``, ``forecast`` and ``recompute``: read what the book knows."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from bellmouth.cli.book import opened
from bellmouth.cli.bounded import Within
from bellmouth.cli.speaking import say, teller, words
from bellmouth.cli.waiting import waiting

if TYPE_CHECKING:
    from bellmouth.book.judging import Recomputed

__all__ = ["due_command", "forecast_command", "recompute_command", "show_command"]

_FILE = click.Path(path_type=Path)
_JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
_LIMIT = click.option(
    "--limit", type=click.IntRange(1), default=50, show_default=True, help="At most so many cars."
)


def _json(document: dict[str, Any]) -> str:
    from bellmouth.pages.document import to_json  # noqa: PLC0415 - loads the finding's libraries

    return to_json(document)


@click.command("show", short_help="A car's page, or the list of cars.")
@click.argument("name", required=False, metavar="[CAR]")
@click.option("--with-identification", is_flag=True, help="Show the identification number in full.")
@_LIMIT
@_JSON
@click.pass_context
def show_command(
    context: click.Context,
    name: str | None,
    with_identification: bool,
    limit: int,
    as_json: bool,
) -> None:
    """Show the history of CAR, or without it the cars, the last touched first."""
    from bellmouth.pages import book_document, book_screen  # noqa: PLC0415

    book = opened(context)
    if name is None:
        found = book.cars(limit=limit)
        if as_json:
            click.echo(_json({"cars": [book_document.standing_document(one) for one in found]}))
        else:
            book_screen.print_cars(found, teller())
        return
    page = book_document.car_page(
        book.history(name), book.standing(name), masked=not with_identification
    )
    if as_json:
        click.echo(_json(page))
    else:
        book_screen.print_car(page, teller())


@click.command("due", short_help="Which cars to inspect, the soonest first.")
@click.option("--before", metavar="DATE", help="Only those due before this day (2026-12-31).")
@_LIMIT
@_JSON
@click.pass_context
def due_command(context: click.Context, before: str | None, limit: int, as_json: bool) -> None:
    """List the cars to inspect, the soonest first."""
    from bellmouth.pages import book_document, book_screen  # noqa: PLC0415

    book = opened(context)
    found = book.due(limit=limit, before=before)
    if as_json:
        click.echo(_json({"due": [book_document.standing_document(one) for one in found]}))
    else:
        book_screen.print_due(found, book.today(), teller())


@click.command("forecast", short_help="When to inspect a car next, and why.")
@click.argument("name", metavar="CAR")
@click.option(
    "--level",
    type=Within(0.1, 200.0),
    metavar="MM2",
    help="The deposit at which you would look at the plate (default: by displacement).",
)
@click.option(
    "--family",
    type=_FILE,
    metavar="FILE",
    help="What was learnt from other cars of its engine family (bellmouth family learn).",
)
@click.option("--picture", type=_FILE, metavar="FILE", help="Also draw it (.svg, .png or .pdf).")
@_JSON
@click.pass_context
def forecast_command(
    context: click.Context,
    name: str,
    level: float | None,
    family: Path | None,
    picture: Path | None,
    as_json: bool,
) -> None:
    """Say when to inspect CAR next, as a distance and a date, how sure that is, and why.

    The exit code is 1 where nothing can be forecast yet.
    """
    from bellmouth.book.forecast_document import forecast_document  # noqa: PLC0415
    from bellmouth.pages import book_screen  # noqa: PLC0415

    book = opened(context)
    found = book.forecast(name, level_mm2=level, family=family)
    if found is None:
        say(
            "{0}: nothing can be forecast yet. It needs a job with its distance "
            "(bellmouth book open) and a recording or a finding in it.",
            name,
            err=True,
        )
        context.exit(1)
    if picture is not None:
        from bellmouth.pages.forecast_chart import write_chart  # noqa: PLC0415

        write_chart(found, picture, words())
    if as_json:
        click.echo(_json(forecast_document(found)))
    else:
        book_screen.print_forecast(found, teller())


@click.command("recompute", short_help="Make findings again and compare.")
@click.argument("name", metavar="CAR")
@click.argument("number", required=False, type=int, metavar="[N]")
@_JSON
@click.pass_context
def recompute_command(context: click.Context, name: str, number: int | None, as_json: bool) -> None:
    """Make the findings and proofs of CAR again, or entry N, and compare with what was kept.

    The exit code is 1 where one comes out otherwise, or cannot be made again.
    """
    from bellmouth.pages import book_document  # noqa: PLC0415

    book = opened(context)
    with waiting(words().text("Weighing the causes again")):
        found = book.recompute(name, number)
    if as_json:
        made = [book_document.recomputed_document(one) for one in found]
        click.echo(_json({"recomputed": made}))
    for one in () if as_json else found:
        _say_again(one)
    if not found and not as_json:
        say("{0}: no findings yet.", name)
    context.exit(0 if all(one.same for one in found) else 1)


def _say_again(one: "Recomputed") -> None:
    verdict = "the same" if one.same else "NOT the same"
    verdict = "CANNOT be made again" if one.cannot else verdict
    say(f"Entry {one.entry.number} ({one.entry.kind}): {verdict}.")
    if one.cannot:
        click.echo(f"  - {words().told(one.cannot)}")
    elif one.kept_by != one.made_by:
        say("  kept by {0}; made again by {1}", one.kept_by, one.made_by)
    for sentence in one.differences:
        click.echo(f"  - {words().told(sentence)}")
