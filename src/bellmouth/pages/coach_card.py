"""A procedure on one printed side, and the script that one person calls to another. Plain text."""

from collections.abc import Callable
from itertools import groupby

from bellmouth.learning.call_script import call_script
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.coach_card_view import CoachCard, Part, Row, card_view, presses_words

__all__ = ["coach_card", "two_person_script"]

_WIDE = 78
_MANUAL = "The car's own manual wins."


def coach_card(procedure: Procedure) -> str:
    """The card: header, boxes, timeline to scale, a row a step with planned and actual seconds."""
    card = card_view(procedure)
    lines = [card.title.upper(), "=" * _WIDE]
    lines += ["Car: ____________________  Date: ____________  km: _________  Who: ____________"]
    lines += [f"Source: {card.source}.  Manual section checked: __________________________"]
    lines += [_MANUAL, *(f"! {caution}" for caution in card.cautions)]
    lines += [f"! {card.erases}"] if card.erases else []
    lines += ["", "BEFORE YOU START, AND STANDING"]
    lines += [f"[ ] {condition}" for condition in card.conditions]
    lines += ["", *_timeline(card), ""]
    lines += ["   at s   actual   step"]
    for part in card.parts:
        if part.since:
            lines.append(
                f"   ---- from the moment that {part.since}, at ________ : count from 0 ----"
            )
        lines += [text for row in part.rows for text in _row(row)]
    lines += ["", "HOW YOU KNOW THAT IT TOOK"]
    lines += [f"[ ] {how}: {what}" for how, what in card.signs]
    lines += ["", f"STOP at any time: {card.safe_state}"]
    return "\n".join(lines) + "\n"


def _row(row: Row) -> list[str]:
    optional = " (optional)" if row.optional else ""
    told = [*row.told]
    told += [f"[ ] {row.awaits}"] if row.awaits else []
    told += [f"! {row.caution}"] if row.caution else []
    first = f"{row.at:>7}  [______]  {row.say.upper()}{optional}"
    return [first, *(f"{'':19}{text}" for text in told)]


def _timeline(card: CoachCard) -> list[str]:
    """A bar to scale for each part whose times are known beforehand; a glance can follow it."""
    return [line for part in card.parts if part.whole_s for line in _bar(part)]


def _bar(part: Part) -> list[str]:
    marks = [" "] * _WIDE
    for number, row in enumerate(part.rows, 1):
        marks[min(int(row.share * (_WIDE - 2)), _WIDE - 1)] = str(number % 10)
    since = f"when {part.since}" if part.since else "the first action"
    bar = "|" + "-" * (_WIDE - 2) + "|"
    return [f"From {since}, {part.whole_s:g} s:", bar, "".join(marks).rstrip()]


def two_person_script(procedure: Procedure, word: Callable[[str], str] = str.upper) -> str:
    """What the caller reads out, with cumulative seconds, and a blank for what was done.

    ``word`` sets the words that are called apart.
    """
    lines = [f"{procedure.title}: the caller reads, the doer acts."]
    lines += [f"Source: {procedure.source}. {_MANUAL}"]
    lines += [f"! {caution}" for caution in procedure.cautions]
    lines += [f"It erases: {', '.join(procedure.erases)}."] if procedure.erases else []
    lines += [""]
    lines += ["Caller: count aloud three, two, one; say the word on the second.", ""]
    for since, group in groupby(call_script(procedure), key=lambda line: line.since):
        if since:
            lines.append(f"  When the doer says that {since}: start the watch again at 0.")
        for line in group:
            at = f"{line.at_s:6.1f} s"
            lines.append(f"  {at}  {word(line.step.say):<34} done at ______")
            if line.presses_s:
                lines.append(f"{'':12}{presses_words(line)}")
            if line.step.caution:
                lines.append(f"{'':12}! {line.step.caution}")
            if line.awaits:
                lines.append(f"{'':12}Doer: say so when {line.awaits}.")
    lines += ["", f"Either may shout STOP: {procedure.safe_state}"]
    return "\n".join(lines) + "\n"
