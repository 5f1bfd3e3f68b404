"""A procedure's card, and the script for two, as self-contained pages that print."""

from dataclasses import fields
from functools import partial
from pathlib import Path

from bellmouth.learning.procedure import Procedure
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_card_view import card_view
from bellmouth.pages.coach_paper import plain, say
from bellmouth.pages.coach_script_view import script_view
from bellmouth.pages.templating import template

__all__ = ["coach_card_html", "coach_script_html", "write_html"]

#: More rows than this are set in smaller type.
_ROWS = 12


def coach_card_html(procedure: Procedure, words: Words | None = None, light: str = "") -> str:
    """The page as HTML; the same card as the text one, no script, nothing from a network.

    It prints on one side of A4 or Letter, black on white whatever the ``light`` of the screen. In
    English where no ``words`` are given.
    """
    words = words or Words()
    card = card_view(procedure, words)
    rows = sum(len(part.rows) for part in card.parts)
    return template("coach_card.html").render(
        card=card,
        dense=rows + len(card.conditions) // 2 > _ROWS,
        language=words.language,
        light=light,
        odometer=words.unit("km"),
        say=partial(say, words),
        plain=partial(plain, words),
    )


def coach_script_html(procedure: Procedure, words: Words, light: str = "") -> str:
    """What one person calls to another, as HTML: large enough to read out, and to print."""
    script = script_view(procedure, words)
    declared = {field.name: getattr(script, field.name) for field in fields(script)}
    return template("coach_script.html").render(language=words.language, light=light, **declared)


def write_html(path: Path, procedure: Procedure, words: Words | None = None) -> None:
    """Write the card's page as one HTML file.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    path.write_text(coach_card_html(procedure, words), encoding="utf-8")
