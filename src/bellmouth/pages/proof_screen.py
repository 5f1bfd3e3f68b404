"""A proof on the terminal: the verdict first, then what changed, and what is still needed."""

from rich.console import Console
from rich.table import Table
from rich.text import Text

from bellmouth.finding.proof_result import Proof
from bellmouth.pages.lists import Kept, hanging, print_list, section
from bellmouth.pages.proof_words import (
    change_words,
    course_words,
    leak_words,
    learning_words,
    outcome_words,
    proof_headline,
)
from bellmouth.pages.words import SAFETY, chance

__all__ = ["print_proof"]

_COURSES_SHOWN = 4
_LEAST_SHOWN = 0.02
_MOST = 8


def print_proof(proof: Proof, metering: str, out: Console) -> None:
    """Print a proof for people."""
    out.print()
    out.print(Kept(proof_headline(proof, metering), "bold"))
    out.print(Text(_outcomes(proof)))
    if proof.changes:
        section(out, "What changed (with the interval that holds it nine times in ten)")
        out.print(_changes(proof, metering, out))
    section(out, "After the work")
    out.print(hanging("-", outcome_words(proof)))
    out.print(hanging("-", learning_words(proof)))
    out.print(hanging("-", leak_words(proof)))
    needs = [f"{need.what}: {need.why}" for need in proof.needs]
    print_list(out, "What it still takes", needs, _MOST)
    if any(need.what.startswith("a leak check") for need in proof.needs):
        out.print(hanging(" ", "Then run prove again with --result smoke_test=none, or =seen."))
    likely = [
        f"{course_words(name, metering)}: {chance(p)}"
        for name, p in list(proof.courses.items())[:_COURSES_SHOWN]
        if p >= _LEAST_SHOWN
    ]
    print_list(out, "What most likely happened", likely, _MOST)
    print_list(out, "Mind", proof.warnings, _MOST)
    out.print()
    out.print(Text(SAFETY, style="dim"))


def _outcomes(proof: Proof) -> str:
    return ", ".join(f"{name} {chance(p)}" for name, p in proof.outcomes.items()) + "."


def _changes(proof: Proof, metering: str, out: Console) -> Table:
    table = Table.grid(padding=(0, 2, 0, 0))
    for _ in range(4):
        table.add_column(overflow="fold", max_width=max(out.width // 4, 12))
    table.add_row(*(Text(head, style="dim") for head in ("", "before", "after", "change")))
    for change in proof.changes:
        name, before, after, moved = change_words(change, metering)
        table.add_row(Text(name, style="bold"), before, after, moved)
    return table
