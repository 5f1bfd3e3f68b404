"""A finding on the terminal, to be read in ten seconds: what, how big, how sure, what next."""

from pathlib import Path

from rich.cells import cell_len
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from bellmouth.car.description import Car
from bellmouth.finding.result import Finding, NextCheck
from bellmouth.pages.card_words import ENGLISH, Words
from bellmouth.pages.lists import hanging
from bellmouth.pages.metered import as_metered
from bellmouth.pages.next_checks import TELLS_BITS, worth_making
from bellmouth.pages.teller import Teller
from bellmouth.pages.words import (
    SAFETY,
    alternatives,
    at_odds,
    chance,
    chosen,
    headline,
    led_there,
    led_title,
    name_words,
    sizes_words,
)
from bellmouth.recording.series import Recording

__all__ = ["print_finding", "print_report_path"]

_NARROW = 72  # below this, sizes go on a line of their own
_LEAST_BAR = 12
_CHANCE = len("under 1 %")  # as long as a chance gets
_LEFT_OUT_SHOWN = 6
_EVIDENCE_SHOWN = 5


def print_finding(
    finding: Finding,
    recording: Recording,
    car: Car,
    out: Console,
    again: str = "",
    speak: Words = ENGLISH,
) -> None:
    """Print a finding for people; ``again`` is the command that makes it again, where another one
    made this."""
    tell = Teller(out, speak)
    checks = worth_making(finding)
    finding = as_metered(finding, car)
    out.print()
    tell.line(headline(finding), "bold")
    if odds := at_odds(finding):
        tell.line(odds, "bold")
    tell.section("How likely each cause is")
    out.print(_bars(finding, tell))
    _print_confusions(finding, tell)
    _print_checks(checks, tell, again)
    tell.list("Mind", finding.warnings, _LEFT_OUT_SHOWN)
    evidence = [item.what for item in led_there(finding)]
    tell.list(led_title(finding), evidence, _EVIDENCE_SHOWN)
    # Once is enough: a finding made from this recording has its notes among the warnings.
    notes = [note for note in recording.notes if note not in finding.warnings]
    left_out = [*finding.excluded, *notes]
    told = " ".join([*left_out, *finding.warnings])
    unmapped = [name for name in recording.unmapped if name not in told]
    if unmapped:
        left_out.append(f"Columns that were not used: {', '.join(unmapped)}.")
    tell.list("What was left out, and why", left_out, _LEFT_OUT_SHOWN)
    out.print()
    tell.dim(f"Complaint: {finding.complaint}. {SAFETY}")


def print_report_path(report: Path, out: Console, speak: Words = ENGLISH) -> None:
    """Print where a report was written; in one piece, so that it can be copied."""
    told = Teller(out, speak).filled(
        "Report with pictures: {path} (open it in a browser)", path=str(report)
    )
    out.print()
    out.print(Text(told), soft_wrap=True)


def _bars(finding: Finding, tell: Teller) -> Table:
    shown, rest = chosen(finding)
    say, out = tell.say, tell.out
    rows = [(say(name_words(one.cause)), one.probability, sizes_words(one, say)) for one in shown]
    if rest:
        rows.append((say("all others"), rest, ""))
    chances = [say(chance(probability)) for _, probability, _ in rows]
    longest = min(max(cell_len(name) for name, _, _ in rows), out.width // 3)
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(width=longest, overflow="fold")
    table.add_column(width=_CHANCE, justify="right")
    table.add_column(overflow="fold")
    # A single size stands beside its bar; where there is no room for that, all stand below.
    beside = max((cell_len(sizes) for _, _, sizes in rows if ";" not in sizes), default=0)
    room = out.width - longest - _CHANCE - beside - 3 * len("  ")
    narrow = out.width < _NARROW or room < _LEAST_BAR
    width = out.width // 4 if narrow else min(room, out.width // 4)
    for place, (name, probability, sizes) in enumerate(rows):
        style = "bold" if place == 0 else ""
        bar = Text(_bar(probability, width, out), style="cyan" if place == 0 else "")
        told = Text("\n" if narrow else "  ").append(sizes) if sizes else Text()
        cells = (Text(name, style=style), Text(chances[place], style=style))
        table.add_row(*cells, bar.append_text(told))
    return table


def _bar(probability: float, width: int, out: Console) -> str:
    full, empty = ("█", "·") if out.encoding.lower().startswith("utf") else ("#", ".")
    filled = round(probability * width)
    return full * filled + empty * (width - filled)


def _print_confusions(finding: Finding, tell: Teller) -> None:
    top = finding.causes[0]
    if top.confusable_with:
        others = alternatives(name_words(name) for name in top.confusable_with)
        text = tell.say(f"This recording cannot tell {name_words(top.cause)} from {others}.")
        tell.out.print(Padding(Text(text, style="italic"), (1, 0, 0, 0)))


def _print_checks(checks: tuple[NextCheck, ...], tell: Teller, again: str) -> None:
    if not checks:
        return
    first, *others = checks
    tell.section("Next check" if first.bits >= TELLS_BITS else "To confirm")
    tell.line(f"{_check_words(first)}: about {first.minutes:.0f} minutes", "bold")
    for text in (first.how, first.why):
        if text:
            tell.hanging(" ", text)
    if first.caution:
        tell.hanging("!", f"Caution: {first.caution}")
    if first.outcomes:
        _print_again(first, tell, again)
    if others:
        listed = ", ".join(
            f"{_check_words(check)} ({check.minutes:.0f} min)" for check in others[:4]
        )
        tell.hanging(" ", f"Or: {listed}.")


def _print_again(check: NextCheck, tell: Teller, again: str) -> None:
    # The no-break space keeps what is typed on one line.
    told, outcomes = f"--result\u00a0{check.check}=OUTCOME", tell.speak.typed(check.outcomes)
    if again:
        lead = tell.filled("Then run this, where OUTCOME is {outcomes}:", outcomes=outcomes)
        tell.out.print(hanging(" ", lead))
        # In one piece, however long, so that it can be copied.
        tell.out.print(Text(f"    {again} {told}".replace("\u00a0", " ")), soft_wrap=True)
        return
    sentence = "Then run find again with {told}, where OUTCOME is {outcomes}."
    tell.out.print(hanging(" ", tell.filled(sentence, told=told, outcomes=outcomes)))


def _check_words(check: NextCheck) -> str:
    return ", ".join([name_words(check.check), *(["once more"] if check.made else [])])
