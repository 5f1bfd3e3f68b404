"""Says the fixed words of a card, a script and a judgement, with their figures and windows."""

import math

from babel.numbers import get_decimal_symbol

from bellmouth.learning.procedure import Procedure, Step, Window
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_paper_words import PAPER_WORDS

__all__ = ["lengths", "plain", "say", "time", "window"]


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


def lengths(words: Words, procedure: Procedure) -> list[str]:
    """For each step how long it lasts and what it waits for, in few words; empty where neither."""
    return ["; ".join(_asked(words, step, procedure)) for step in procedure.steps]


def _asked(words: Words, step: Step, procedure: Procedure) -> list[str]:
    found = []
    if step.after_s is not None:
        found.append(window(words, step.after_s))
    if math.isfinite(step.within_s):
        found.append(say(words, "within", time=time(words, step.within_s)))
    if step.until is not None:
        event = words.told(procedure.event_words(step.until.event))
        found.append(say(words, "awaits", event=event, time=time(words, step.until.timeout_s)))
    if step.lasts_s is not None:
        least = window(words, step.lasts_s)
        found.append(say(words, "takes", window=least) if step.until is not None else least)
    return found
