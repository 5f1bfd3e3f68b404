"""``bellmouth book car`` and ``open``: begin a car's history, and a job."""

from pathlib import Path
from typing import Any

import click

from bellmouth.cli.book import kilometres, opened
from bellmouth.cli.complaint_option import complaint_option
from bellmouth.cli.speaking import say, words

__all__ = ["car_command", "open_command"]

_FILE = click.Path(path_type=Path)


@click.command("car", short_help="Begin a car's history, or correct what is known of it.")
@click.argument("name", metavar="NAME")
@click.option(
    "--car",
    "--file",
    "car_file",
    type=_FILE,
    metavar="FILE",
    help="What is known about the car (TOML).",
)
@click.option(
    "--kind",
    metavar="TEXT",
    help="Cars of one kind get dirty alike, such as 'maker, engine'.",
)
@click.option(
    "--identification",
    metavar="NUMBER",
    help="Vehicle identification number or plate, only where you must keep it.",
)
@click.option(
    "--keep-until", metavar="DATE", help="Day after which the car is to be deleted (2030-12-31)."
)
@click.option("--rename", metavar="NAME", help="A new name for a car of the book.")
@click.pass_context
def car_command(
    context: click.Context,
    name: str,
    car_file: Path | None,
    kind: str | None,
    identification: str | None,
    keep_until: str | None,
    rename: str | None,
) -> None:
    """Begin the history of the car NAME, or correct what is known of it.

    A new car needs --car. A correction is a new entry; the old one stays.
    """
    from bellmouth import read_car  # noqa: PLC0415

    changes: dict[str, Any] = {
        "kind": kind, "identification": identification, "keep_until": keep_until,
    }  # fmt: skip
    changes = {key: value for key, value in changes.items() if value is not None}
    car = None if car_file is None else read_car(car_file)
    book = opened(context, make=car is not None)
    if book.has(name):
        if car is not None:
            changes["car"] = car
        if rename is not None:
            changes["new_name"] = rename
        if not changes:
            raise click.UsageError(f'"{name}" is in the book. Say what to correct.')
        entry = book.change_car(name, **changes)
        say("{0}: corrected (entry {1}).", entry.document["name"], entry.number)
        return
    if car is None:
        raise click.UsageError(f'"{name}" is not in the book. Begin it with --file car.toml.')
    book.add_car(name, car, **changes)
    say("{0}: begun in {1}.", name, book.place.name)


@click.command("open", short_help="Open a job on a car.")
@click.argument("name", metavar="CAR")
@click.option(
    "--distance",
    callback=kilometres,
    metavar="KM",
    help="The odometer, in km (or miles: 88000mi). Without it nothing can be forecast.",
)
@complaint_option('What the owner says, such as "high idle".')
@click.option("--on", metavar="DATE", help="The day (2026-05-31); today where left out.")
@click.option(
    "--comeback-of",
    type=int,
    metavar="N",
    help="The job whose work did not hold, where this one is its comeback.",
)
@click.option("--corrects", type=int, metavar="N", help="Correct the facts of job N instead.")
@click.pass_context
def open_command(
    context: click.Context,
    name: str,
    distance: float | None,
    complaint: str | None,
    on: str | None,
    comeback_of: int | None,
    corrects: int | None,
) -> None:
    """Open a job on CAR; what is added from now on belongs to it."""
    book = opened(context)
    earlier = book.standing(name)
    entry = book.open_job(
        name,
        distance_km=distance,
        on=on,
        complaint=complaint,
        comeback_of=comeback_of,
        corrects=corrects,
    )
    at = "" if entry.distance_km is None else f", {entry.distance_km:,.0f} km"
    where = words().told(f"{entry.on_date}{at}")
    if corrects is None:
        say("{0}: job {1} opened, {2}.", name, entry.job, where)
    else:
        say("{0}: job {1} corrected (entry {2}), {3}.", name, entry.job, entry.number, where)
    if corrects is None and comeback_of is None and earlier.last_on is not None:
        last = max(one.job or 0 for one in book.history(name).entries if one.number < entry.number)
        say(
            "The last job ({0}) was on {1}. If this one is its comeback: "
            'bellmouth book open "{2}" --corrects {3} --comeback-of {0}',
            last, earlier.last_on, name, entry.number,
        )  # fmt: skip
