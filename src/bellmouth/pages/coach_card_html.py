"""A procedure's card as one self-contained page that prints on one side of A4 or Letter."""

from functools import partial
from pathlib import Path

from bellmouth.learning.procedure import Procedure
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_card_view import card_view
from bellmouth.pages.coach_paper import plain, say
from bellmouth.pages.templating import template

__all__ = ["coach_card_html", "write_html"]

#: More rows than this are set in smaller type.
_ROWS = 12


def coach_card_html(procedure: Procedure, words: Words | None = None) -> str:
    """The page as HTML; the same card as the text one, no script, nothing from a network.

    In English where no ``words`` are given.
    """
    words = words or Words()
    card = card_view(procedure, words)
    rows = sum(len(part.rows) for part in card.parts)
    return template("coach_card.html").render(
        card=card,
        dense=rows + len(card.conditions) // 2 > _ROWS,
        language=words.language,
        say=partial(say, words),
        plain=partial(plain, words),
    )


def write_html(path: Path, procedure: Procedure, words: Words | None = None) -> None:
    """Write the page as one HTML file.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    path.write_text(coach_card_html(procedure, words), encoding="utf-8")
