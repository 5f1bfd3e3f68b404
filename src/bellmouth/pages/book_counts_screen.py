"""Comebacks and spreads of readings on the terminal."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table

from bellmouth.pages.lists import section

if TYPE_CHECKING:
    from bellmouth.book.comebacks import Comebacks, Group
    from bellmouth.book.readers import Quantity
    from bellmouth.book.shares import Share
    from bellmouth.book.spread import Between

__all__ = ["FEW", "print_comebacks", "print_spreads", "share_words"]


#: Jobs below which no single share is shown: our choice.
FEW = 5


def share_words(share: "Share") -> str:
    """``8 % (3 to 17 %)``; the range holds the share nine times in ten. Of few jobs, the range
    alone: any single number would say more than they do."""
    span = f"{share.low * 100:.0f} to {share.high * 100:.0f} %"
    if share.cases < FEW:
        return f"too few to tell ({span})"
    return f"{share.value * 100:.0f} % ({span})"


def print_comebacks(found: "Comebacks", out: Console) -> None:
    """Print how many jobs came back, whole and by group."""
    every = found.every
    out.print()
    if not every.cases:
        waiting = f" {found.waiting} are too young to tell." if found.waiting else ""
        out.print(f"No job with work in it is old enough to count yet.{waiting}")
        return
    out.print(
        f"{every.hits} of {every.cases} jobs came back within {found.within_days} days: "
        f"{share_words(every)}."
    )
    if found.waiting:
        out.print(f"Younger jobs, not counted yet: {found.waiting}.")
    for title, groups in (
        ("By work", found.works),
        ("By learning procedure", found.procedures),
        ("By gasket", found.gaskets),
        ("By person", found.persons),
    ):
        if groups:
            section(out, title)
            out.print(_groups(groups))
    out.print()
    out.print(
        "The range holds the share nine times in ten. Where ranges overlap, the difference may be "
        "chance, or the harder cars.",
        style="dim",
    )


def _groups(groups: "Sequence[Group]") -> Table:
    table = Table(box=None, pad_edge=False)
    for title in ("", "jobs", "back", "share"):
        table.add_column(title, justify="right" if title in ("jobs", "back") else "left")
    for one in groups:
        share = one.share
        name = one.name.replace("_", " ")
        table.add_row(name, str(share.cases), str(share.hits), share_words(share))
    return table


def print_spreads(found: "Sequence[Quantity]", out: Console) -> None:
    """Print how far readings lie apart, a paragraph a quantity."""
    out.print()
    if not found:
        out.print(
            "Nobody has read one car twice between two pieces of work yet. Add recordings with "
            "--by NAME, the same person twice or two people once each."
        )
        return
    for one in found:
        section(out, one.name.replace("_", " "))
        spread = one.spread
        out.print(
            f"{spread.readings} readings of {spread.things} cars or visits by {spread.persons} "
            f"{'person' if spread.persons == 1 else 'people'}."
        )
        out.print(f"The same person again: {_spread(spread.again, one.unit)}.")
        if spread.other is None:
            out.print("Another person: unknown, no car was read by two people.")
        else:
            out.print(f"Another person adds: {_spread(spread.other, one.unit)}.")
        if spread.differ is not None:
            out.print(
                f"Two people's readings lie less than {spread.differ:.2g} {one.unit} apart, "
                "19 times in 20. A smaller change between two visits may be the reader."
            )


def _spread(between: "Between | None", unit: str) -> str:
    if between is None:
        return "unknown"
    low, high = (f"{one:.2g}" for one in (between.low, between.high))
    return f"a standard deviation of {between.value:.2g} {unit} ({low} to {high})"
