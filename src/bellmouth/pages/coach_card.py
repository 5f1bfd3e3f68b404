"""A procedure on one printed side, and the script that one person calls to another. Plain text."""

from collections.abc import Callable

from bellmouth.learning.procedure import Procedure
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_card_view import CoachCard, Part, Row, card_view
from bellmouth.pages.coach_paper import plain, say
from bellmouth.pages.coach_script_view import Call, script_view

__all__ = ["coach_card", "two_person_script"]

_WIDE = 78
_HEAD = (("car", 20), ("date", 12), ("", 9), ("who", 12))


def coach_card(procedure: Procedure, words: Words | None = None) -> str:
    """The card: header, boxes, timeline to scale, a row a step with planned and actual seconds.

    In English where no ``words`` are given.
    """
    words = words or Words()
    card = card_view(procedure, words)
    lines = [card.title.upper(), "=" * _WIDE, *_head(card, words)]
    lines += [f"! {caution}" for caution in card.cautions]
    lines += [f"! {card.erases}"] if card.erases else []
    lines += ["", say(words, "standing").upper()]
    lines += [f"[ ] {condition}" for condition in card.conditions]
    lines += ["", *_timeline(card, words), ""]
    lines += [f"{say(words, 'at'):>7}  {say(words, 'actual'):^8}  {say(words, 'step')}"]
    for part in card.parts:
        if part.since:
            lines.append(f"   ---- {say(words, 'since', event=part.since)} ----")
        lines += [text for row in part.rows for text in _row(row, words)]
    lines += ["", say(words, "signs").upper()]
    lines += [f"[ ] {how}: {what}" for how, what in card.signs]
    lines += ["", say(words, "stop", state=card.safe_state)]
    return "\n".join(lines) + "\n"


def _head(card: CoachCard, words: Words) -> list[str]:
    blanks = [f"{say(words, name) if name else 'km'}: {'_' * wide}" for name, wide in _HEAD]
    source = say(words, "source", source=card.source)
    return [
        "  ".join(blanks),
        f"{source}  {say(words, 'section')} {'_' * 26}",
        say(words, "manual"),
    ]


def _row(row: Row, words: Words) -> list[str]:
    optional = f" {say(words, 'optional')}" if row.optional else ""
    told = [*row.told]
    told += [f"[ ] {row.awaits}"] if row.awaits else []
    told += [f"! {row.caution}"] if row.caution else []
    first = f"{row.at:>7}  [______]  {row.say.upper()}{optional}"
    return [first, *(f"{'':19}{text}" for text in told)]


def _timeline(card: CoachCard, words: Words) -> list[str]:
    """A bar to scale for each part whose times are known beforehand; a glance can follow it."""
    return [line for part in card.parts if part.whole_s for line in _bar(part, words)]


def _bar(part: Part, words: Words) -> list[str]:
    marks = [" "] * _WIDE
    for number, row in enumerate(part.rows, 1):
        marks[min(int(row.share * (_WIDE - 2)), _WIDE - 1)] = str(number % 10)
    name = "timed_since" if part.since else "timed"
    head = say(words, name, event=part.since, time=plain(words, part.whole_s))
    return [head, "|" + "-" * (_WIDE - 2) + "|", "".join(marks).rstrip()]


def two_person_script(
    procedure: Procedure, word: Callable[[str], str] = str.upper, words: Words | None = None
) -> str:
    """What the caller reads out, with cumulative seconds, and a blank for what was done.

    ``word`` sets the words that are called apart; in English where no ``words`` are given.
    """
    script = script_view(procedure, words or Words())
    lines = [script.title, script.source]
    lines += [f"! {caution}" for caution in script.cautions]
    lines += [script.erases] if script.erases else []
    lines += ["", script.caller, ""]
    for part in script.parts:
        lines += [f"  {part.since}"] if part.since else []
        lines += [one for call in part.calls for one in _call(call, word, script.done_at)]
    lines += ["", script.shout]
    return "\n".join(lines) + "\n"


def _call(call: Call, word: Callable[[str], str], done_at: str) -> list[str]:
    told = (call.presses, f"! {call.caution}" if call.caution else "", call.answer)
    first = f"  {call.at:>6} s  {word(call.say):<34} {done_at} ______"
    return [first, *(f"{'':12}{one}" for one in told if one)]
