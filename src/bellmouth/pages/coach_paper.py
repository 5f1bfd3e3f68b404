"""Says the fixed words of a card, a script and a judgement, with their figures and windows."""

import math

from babel.numbers import get_decimal_symbol

from bellmouth.learning.procedure import Window
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_paper_words import PAPER_WORDS

__all__ = ["plain", "say", "time", "window"]


def say(words: Words, name: str, **filled: str) -> str:
    """One of the fixed words, filled in."""
    return words.text(PAPER_WORDS[name]).format(**filled)


def plain(words: Words, value: float, form: str = "g") -> str:
    """A number as paper has it, with the language's decimal sign and no grouping."""
    return f"{value:{form}}".replace(".", get_decimal_symbol(words.language))


def time(words: Words, seconds: float) -> str:
    """A time as people say it: ``10 s``, ``15 min``, ``8 h``."""
    if seconds >= 3600.0:
        return f"{plain(words, seconds / 3600.0)} h"
    if seconds >= 600.0:
        return f"{plain(words, seconds / 60.0)} min"
    return f"{plain(words, seconds)} s"


def window(words: Words, asked: Window, anchor: str | None = None) -> str:
    """A window in words, ``about 7 s (6.5 to 7.5)``; with ``anchor`` a sentence of what follows it.

    ``anchor`` is what the window counts from, in the reader's language.
    """
    least, most = asked.least_s, asked.most_s
    filled = {"least": plain(words, least), "most": plain(words, most)}
    if math.isinf(most):
        name, filled["time"] = "at_least", time(words, least)
    elif asked.about_s is not None and least > 0:
        name, filled["aim"] = "about", plain(words, asked.about_s)
    elif least <= 0:
        name, filled["time"] = "within", time(words, most)
    else:
        name = "between"
    if anchor is None:
        return say(words, name, **filled)
    return say(words, f"after_{name}", anchor=anchor, **filled)
