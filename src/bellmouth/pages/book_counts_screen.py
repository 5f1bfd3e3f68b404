"""Comebacks and spreads of readings on the terminal."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.table import Table

from bellmouth.book.comebacks import UNKNOWN
from bellmouth.pages.teller import Teller
from bellmouth.pages.words import name_words

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


def print_comebacks(found: "Comebacks", to: Teller) -> None:
    """Print how many jobs came back, whole and by group."""
    every = found.every
    to.out.print()
    if not every.cases:
        to.plain("No job with work in it is old enough to count yet.")
        if found.waiting:
            to.plain(
                f"{_many(found.waiting, 'job')} younger than {found.within_days} days; --within "
                "says after how many one counts."
            )
        return
    to.plain(
        f"{every.hits} of {_many(every.cases, 'job')} came back within {found.within_days} days: "
        f"{share_words(every)}."
    )
    if found.waiting:
        to.plain(f"Younger jobs, not counted yet: {found.waiting}.")
    for title, groups in (
        ("By work", found.works),
        ("By learning procedure", found.procedures),
        ("By gasket", found.gaskets),
        ("By person", found.persons),
    ):
        if groups:
            to.section(title)
            to.out.print(_groups(groups, to, typed=title == "By person"))
    to.out.print()
    to.plain(
        "The range holds the share nine times in ten. Where ranges overlap, the difference may be "
        "chance, or the harder cars.",
        style="dim",
    )


def _groups(groups: "Sequence[Group]", to: Teller, *, typed: bool) -> Table:
    table = Table(box=None, pad_edge=False)
    for title in ("", "jobs", "back", "share"):
        table.add_column(to.say(title), justify="right" if title in ("jobs", "back") else "left")
    for one in groups:
        share = one.share
        # What people are called is theirs; what is no whole entry of the catalogue is typed so.
        name = (
            one.name if typed and one.name != UNKNOWN else to.speak.text(one.name.replace("_", " "))
        )
        table.add_row(name, str(share.cases), str(share.hits), to.say(share_words(share)))
    return table


def print_spreads(found: "Sequence[Quantity]", to: Teller) -> None:
    """Print how far readings lie apart, a paragraph a quantity."""
    if not found:
        to.out.print()
        to.plain(
            "Nobody has read one car twice between two pieces of work yet. Add recordings with "
            "--by NAME, the same person twice or two people once each."
        )
        return
    for one in found:
        to.section(name_words(one.name))
        spread = one.spread
        to.plain(
            f"{_many(spread.readings, 'reading')} by {_many(spread.persons, 'person', 'people')} "
            f"of {_many(spread.things, 'car')} (after each piece of work it counts as another)."
        )
        to.plain(f"The same person again: {_spread(spread.again, one.unit)}.")
        if spread.other is None:
            to.plain("Another person: unknown, no car was read by two people.")
        else:
            to.plain(f"Another person adds: {_spread(spread.other, one.unit)}.")
        if spread.differ is not None:
            to.plain(
                f"Two people's readings lie less than {spread.differ:.2g} {one.unit} apart, "
                "19 times in 20. A smaller change between two visits may be the reader."
            )
    to.out.print()
    to.plain("A range holds the value nine times in ten.", style="dim")


def _many(count: int, one: str, more: str | None = None) -> str:
    return f"{count} {one if count == 1 else more or one + 's'}"


def _spread(between: "Between | None", unit: str) -> str:
    if between is None:
        return "unknown"
    low, high = (f"{one:.2g}" for one in (between.low, between.high))
    return f"a standard deviation of {between.value:.2g} {unit} ({low} to {high})"
