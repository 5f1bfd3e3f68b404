"""A proof on the terminal: the verdict first, then what changed, and what is still needed."""

from rich.console import Console
from rich.table import Table
from rich.text import Text

from bellmouth.finding.proof_result import Proof
from bellmouth.pages.card_words import ENGLISH, Words
from bellmouth.pages.lists import hanging
from bellmouth.pages.proof_words import (
    change_words,
    course_words,
    leak_words,
    learning_words,
    outcome_words,
    proof_headline,
)
from bellmouth.pages.teller import Teller
from bellmouth.pages.words import SAFETY, chance

__all__ = ["print_proof"]

_COURSES_SHOWN = 4
_LEAST_SHOWN = 0.02
_MOST = 8


def print_proof(proof: Proof, metering: str, out: Console, speak: Words = ENGLISH) -> None:
    """Print a proof for people."""
    tell = Teller(out, speak)
    out.print()
    tell.line(proof_headline(proof, metering), "bold")
    out.print(Text(_outcomes(proof, tell)))
    if proof.changes:
        tell.section("What changed (with the interval that holds it nine times in ten)")
        out.print(_changes(proof, metering, tell))
    tell.section("After the work")
    for told in (outcome_words(proof), learning_words(proof), leak_words(proof)):
        tell.hanging("-", told)
    needs = [f"{tell.say(need.what)}: {tell.say(need.why)}" for need in proof.needs]
    tell.list_told("What it still takes", needs, _MOST)
    if any("leak check" in need.what for need in proof.needs):
        again = "Then run prove again with {none}, or {seen}."
        told = tell.filled(again, none="--result smoke_test=none", seen="=seen")
        out.print(hanging(" ", told))
    likely = [
        f"{course_words(name, metering)}: {chance(p)}"
        for name, p in list(proof.courses.items())[:_COURSES_SHOWN]
        if p >= _LEAST_SHOWN
    ]
    tell.list("What most likely happened", likely, _MOST)
    tell.list("Mind", proof.warnings, _MOST)
    out.print()
    tell.dim(SAFETY)


def _outcomes(proof: Proof, tell: Teller) -> str:
    say = tell.say
    return ", ".join(f"{say(name)} {say(chance(p))}" for name, p in proof.outcomes.items()) + "."


def _changes(proof: Proof, metering: str, tell: Teller) -> Table:
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(overflow="fold", max_width=max(tell.out.width // 4, 12))
    for _ in range(3):
        table.add_column(overflow="fold")
    heads = ("before", "after", "change")
    table.add_row("", *(Text(tell.say(head), style="dim") for head in heads))
    for change in proof.changes:
        name, before, after, moved = map(tell.say, change_words(change, metering, with_unit=True))
        table.add_row(Text(name, style="bold"), before, after, moved)
    return table
