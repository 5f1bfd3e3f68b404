"""A finding on the terminal, to be read in ten seconds: what, how big, how sure, what next."""

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from bellmouth.car.description import Car
from bellmouth.finding.causes import CAUSES
from bellmouth.finding.check_table import CHECKS
from bellmouth.finding.result import Finding, NextCheck
from bellmouth.pages.lists import Kept, hanging, print_list, section
from bellmouth.pages.metered import as_metered
from bellmouth.pages.next_checks import TELLS_BITS, worth_making
from bellmouth.pages.words import (
    SAFETY,
    alternatives,
    at_odds,
    cause_words,
    chance,
    chosen,
    headline,
    led_there,
    led_title,
    name_words,
    sizes_words,
    unit_words,
)
from bellmouth.recording.series import Recording

__all__ = ["print_causes", "print_finding", "print_known_checks"]

_NARROW = 72  # below this, sizes go on a line of their own
_LEFT_OUT_SHOWN = 6
_EVIDENCE_SHOWN = 5


def print_finding(
    finding: Finding, recording: Recording, car: Car, out: Console, again: str = ""
) -> None:
    """Print a finding for people; ``again`` is the command that makes it again, where another one
    made this."""
    checks = worth_making(finding)
    finding = as_metered(finding, car)
    out.print()
    out.print(Kept(headline(finding), "bold"))
    if odds := at_odds(finding):
        out.print(Kept(odds, "bold"))
    section(out, "How likely each cause is")
    out.print(_bars(finding, out))
    _print_confusions(finding, out)
    _print_checks(checks, out, again)
    print_list(out, "Mind", finding.warnings, _LEFT_OUT_SHOWN)
    evidence = [item.what for item in led_there(finding)]
    print_list(out, led_title(finding), evidence, _EVIDENCE_SHOWN)
    # Once is enough: a finding made from this recording has its notes among the warnings.
    notes = [note for note in recording.notes if note not in finding.warnings]
    left_out = [*finding.excluded, *notes]
    told = " ".join([*left_out, *finding.warnings])
    unmapped = [name for name in recording.unmapped if name not in told]
    if unmapped:
        left_out.append(f"Columns that were not used: {', '.join(unmapped)}.")
    print_list(out, "What was left out, and why", left_out, _LEFT_OUT_SHOWN)
    out.print()
    out.print(Text(f"Complaint: {finding.complaint}. {SAFETY}", style="dim"))


def _bars(finding: Finding, out: Console) -> Table:
    shown, rest = chosen(finding)
    rows = [(name_words(entry.cause), entry.probability, sizes_words(entry)) for entry in shown]
    if rest:
        rows.append(("all others", rest, ""))
    narrow = out.width < _NARROW
    longest = max(len(name) for name, _, _ in rows)
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(width=min(longest, out.width // 3), overflow="fold")
    table.add_column(width=9, justify="right")
    table.add_column(overflow="fold")
    for place, (name, probability, sizes) in enumerate(rows):
        style = "bold" if place == 0 else ""
        bar = Text(_bar(probability, out.width // 4, out), style="cyan" if place == 0 else "")
        told = Text("\n" if narrow else "  ").append(sizes) if sizes else Text()
        cells = (Text(name, style=style), Text(chance(probability), style=style))
        table.add_row(*cells, bar.append_text(told))
    return table


def _bar(probability: float, width: int, out: Console) -> str:
    full, empty = ("█", "·") if out.encoding.lower().startswith("utf") else ("#", ".")
    filled = round(probability * width)
    return full * filled + empty * (width - filled)


def _print_confusions(finding: Finding, out: Console) -> None:
    top = finding.causes[0]
    if top.confusable_with:
        others = alternatives(name_words(name) for name in top.confusable_with)
        text = f"This recording cannot tell {name_words(top.cause)} from {others}."
        out.print(Padding(Text(text, style="italic"), (1, 0, 0, 0)))


def _print_checks(checks: tuple[NextCheck, ...], out: Console, again: str) -> None:
    if not checks:
        return
    first, *others = checks
    section(out, "Next check" if first.bits >= TELLS_BITS else "To confirm")
    out.print(Text(f"{_check_words(first)}: about {first.minutes:.0f} minutes", style="bold"))
    for text in (first.how, first.why):
        if text:
            out.print(hanging(" ", text))
    if first.caution:
        out.print(hanging("!", f"Caution: {first.caution}"))
    if first.outcomes:
        _print_again(first, out, again)
    if others:
        listed = ", ".join(
            f"{_check_words(check)} ({check.minutes:.0f} min)" for check in others[:4]
        )
        out.print(hanging(" ", f"Or: {listed}."))


def _print_again(check: NextCheck, out: Console, again: str) -> None:
    told, outcomes = f"--result {check.check}=OUTCOME", alternatives(check.outcomes)
    if again:
        out.print(hanging(" ", f"Then run this, where OUTCOME is {outcomes}:"))
        # In one piece, however long, so that it can be copied.
        out.print(Text(f"    {again} {told}"), soft_wrap=True)
    else:
        out.print(hanging(" ", f"Then run find again with {told}, where OUTCOME is {outcomes}."))


def _check_words(check: NextCheck) -> str:
    return f"{name_words(check.check)}{' once more' if check.made else ''}"


def print_causes(out: Console) -> None:
    """Print every cause that a finding can name."""
    table = Table.grid(padding=(0, 2))
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    table.add_column(no_wrap=True)
    table.add_row(*(Text(head, style="bold") for head in ("Cause", "Meaning", "Size")))
    table.add_row("healthy", cause_words("healthy"), "")
    for cause in CAUSES.values():
        table.add_row(cause.name, cause_words(cause.name), unit_words(cause.unit))
    table.add_row("unexplained", cause_words("unexplained"), "")
    out.print(table)
    out.print()
    out.print(Text("Two causes at once are joined with a plus, such as leak+meter_low."))
    out.print(
        Text(
            "On a car that meters pressure meter_low and meter_high are the airflow that its "
            "controller computes: findings call them computed air low and high."
        )
    )


def print_known_checks(out: Console) -> None:
    """Print every check that a finding can suggest, and the outcomes it may be told."""
    for check in CHECKS.values():
        out.print(Text(f"{check.name}: about {check.minutes:g} minutes", style="bold"))
        outcomes = (*check.outcomes, f"a number: {check.reads}") if check.reads else check.outcomes
        lines = [
            check.how,
            check.again,
            f"--result {check.name}=OUTCOME, where OUTCOME is {alternatives(outcomes)}.",
        ]
        if check.caution:
            lines.insert(1, f"! Caution: {check.caution}")
        for line in lines:
            out.print(Padding(Text(line), (0, 0, 0, 2)))
    out.print(Text("Minutes, and how often a check errs, are common practice, no source."))
