"""A survey on the terminal: how many of what, and the worst cars."""

import polars as pl
from rich.table import Table
from rich.text import Text

from bellmouth.finding.causes import CAUSES
from bellmouth.finding.result import Size
from bellmouth.pages.lists import print_list
from bellmouth.pages.metered import shown_cause
from bellmouth.pages.teller import Teller
from bellmouth.pages.words import chance, interval_words, name_words

__all__ = ["NO_FAMILY", "as_shown", "counts", "print_survey", "size_text", "worst"]

_WORST_SHOWN = 10
_ERRORS_SHOWN = 6
#: Stands for the family of a car whose family nobody told.
NO_FAMILY = "no family told"


def as_shown(table: pl.DataFrame) -> pl.DataFrame:
    """The findings with a column ``shown``: the likeliest cause in words, of a car without an
    airflow meter the air that its controller computes."""
    found = table.select("cause", "metering").unique()
    words = [
        None if cause is None else name_words(shown_cause(cause, metering or ""))
        for cause, metering in found.iter_rows()
    ]
    known = found.with_columns(pl.Series("shown", words, pl.String))
    keys = ["cause", "metering"]
    kept = table.drop("shown", strict=False)
    return kept.join(known, keys, "left", nulls_equal=True, maintain_order="left")


def counts(table: pl.DataFrame) -> pl.DataFrame:
    """How many recordings each family and likeliest cause has, in words; families without a name
    together."""
    judged = as_shown(table).filter(pl.col("error").is_null())
    return (
        judged.with_columns(pl.col("family").replace("", NO_FAMILY))
        .group_by("family", "shown")
        .agg(pl.len().alias("recordings"), pl.col("probability").mean())
        .sort("family", "recordings", "shown", descending=[False, True, False])
    )


def worst(table: pl.DataFrame) -> pl.DataFrame:
    """Recordings whose likeliest cause is a fault, most probable first."""
    faults = as_shown(table).filter(pl.col("error").is_null() & (pl.col("cause") != "healthy"))
    return faults.sort("probability", descending=True)


def size_text(row: dict[str, object]) -> str:
    """The sizes of a row's likeliest cause, with their intervals."""
    told = []
    for cause in str(row["cause"]).split("+"):
        value = row.get(f"{cause}_value")
        if cause not in CAUSES or not isinstance(value, float):
            continue
        low, high = (float(row[f"{cause}_{end}"]) for end in ("low", "high"))  # type: ignore[arg-type]
        told.append(interval_words(Size(value, low, high, CAUSES[cause].unit)))
    return "; ".join(told)


def print_survey(table: pl.DataFrame, to: Teller) -> None:
    """Print a survey's findings for people."""
    say, out = to.say, to.out
    failed = table.filter(pl.col("error").is_not_null())
    judged = table.height - failed.height
    out.print()
    cars = table.filter(pl.col("error").is_null())["car"].n_unique()
    told = f"{_many(judged, 'recording')} of {_many(cars, 'car')} judged"
    out.print(Text(say(f"{told}, {_many(failed.height, 'row')} without a finding."), style="bold"))
    to.section("What is likeliest, by engine family")
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_row(*(Text(say(head), style="dim") for head in ("family", "cause", "recordings")))
    for family, cause, many, _ in counts(table).iter_rows():
        grid.add_row(say(family) if family == NO_FAMILY else family, say(cause), str(many))
    out.print(grid)
    rows = worst(table).head(_WORST_SHOWN)
    if rows.height:
        to.section("Cars to look at first")
        grid = Table.grid(padding=(0, 2, 0, 0))
        for row in rows.iter_rows(named=True):
            cells = (row["shown"], chance(row["probability"]), size_text(row))
            grid.add_row(str(row["car"]), *map(say, cells))
        out.print(grid)
    errors = [
        f"{row['recording'] or row['car']}: {say(row['error'])}"
        for row in failed.iter_rows(named=True)
    ]
    more = "and {count} more: see the column error of the findings"
    print_list(out, say("Without a finding"), errors, _ERRORS_SHOWN, to.speak.text(more))


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
