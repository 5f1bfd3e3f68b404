"""What a finding can name and suggest, on the terminal: the causes and the checks."""

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from bellmouth.finding.causes import CAUSES
from bellmouth.finding.check_table import CHECKS, Check
from bellmouth.pages.card_words import ENGLISH, Words
from bellmouth.pages.lists import Kept
from bellmouth.pages.teller import Teller
from bellmouth.pages.words import cause_words, name_words, unit_words

__all__ = ["print_causes", "print_known_checks"]


def print_causes(out: Console, speak: Words = ENGLISH) -> None:
    """Print every cause that a finding can name."""
    tell = Teller(out, speak)
    table = Table.grid(padding=(0, 2))
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    table.add_column(no_wrap=True)
    table.add_row(*(Text(tell.say(head), style="bold") for head in ("Cause", "Meaning", "Size")))
    for cause in ("healthy", *CAUSES, "unexplained"):
        unit = CAUSES[cause].unit if cause in CAUSES else ""
        shown = unit_words(unit) if unit == "ratio" else speak.unit(unit)
        table.add_row(cause, _meaning(cause, tell), shown)
    out.print(table)
    out.print()
    pair = "Two causes at once are joined with a plus, such as {pair}."
    out.print(Text(tell.filled(pair, pair="leak+meter_low")))
    computed = (
        "On a car that meters pressure {low} and {high} are the airflow that its controller "
        "computes: findings call them computed air low and high."
    )
    out.print(Text(tell.filled(computed, low="meter_low", high="meter_high")))


def _meaning(cause: str, tell: Teller) -> str:
    """What a cause means; first what findings call it, where that is not what is typed."""
    means = tell.say(cause_words(cause))
    called = tell.say(name_words(cause))
    return means if tell.speak.language == "en" else f"{called}: {means}"


def print_known_checks(out: Console, speak: Words = ENGLISH) -> None:
    """Print every check that a finding can suggest, and the outcomes it may be told."""
    tell = Teller(out, speak)
    for check in CHECKS.values():
        out.print(Text(_title(check, tell), style="bold"))
        for line in _lines(check, tell):
            out.print(Padding(Kept(line), (0, 0, 0, 2)))
    tell.line("Minutes, and how often a check errs, are common practice, no source.")


def _title(check: Check, tell: Teller) -> str:
    """Its name as it is typed; where another language is read, also as it is called there."""
    called = "" if tell.speak.language == "en" else f" ({tell.say(name_words(check.name))})"
    about = tell.filled("about {n} minutes", n=f"{check.minutes:g}")
    return f"{check.name}{called}: {about}"


def _lines(check: Check, tell: Teller) -> list[str]:
    outcomes = (*check.outcomes, f"a number: {check.reads}") if check.reads else check.outcomes
    result = tell.filled(
        "{typed}, where OUTCOME is {outcomes}.",
        typed=f"--result\u00a0{check.name}=OUTCOME",
        outcomes=tell.speak.typed(outcomes),
    )
    caution = [f"! {tell.say(f'Caution: {check.caution}')}"] if check.caution else []
    return [tell.say(check.how), *caution, tell.say(check.again), result]
