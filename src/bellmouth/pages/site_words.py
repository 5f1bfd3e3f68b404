"""Every fixed text of the page at the car, for the catalogue: found in its templates and tables."""

import re
from collections.abc import Iterator
from importlib.resources import files

from bellmouth.learning.cues import PHRASES
from bellmouth.learning.packs import packs
from bellmouth.learning.procedure import WORK, Procedure
from bellmouth.learning.reasons import DONE_WRONG, REASONS
from bellmouth.pages.attempt_words import ADVICE, AWAY, ENDED, INTERRUPTED, KEY_AGAIN, SPOILED
from bellmouth.pages.clearing_words import CLEAR
from bellmouth.pages.coach_paper_words import PAPER_WORDS
from bellmouth.pages.coach_terminal_words import TERMINAL_WORDS
from bellmouth.pages.coach_words import COACH_WORDS, LIVE_WORDS
from bellmouth.pages.plot_words import PLOT_TEXTS, PLOT_WORDS
from bellmouth.pages.site.car_fields import FIELDS
from bellmouth.pages.words import SAFETY
from bellmouth.practice.desk import KEYS
from bellmouth.practice.keyboard import KEYS as DRIVING_KEYS

__all__ = ["site_texts"]

_CALLED = re.compile(r"""_\("((?:[^"\\]|\\.)*)"\)""")
_STAGES = ("Record", "Finding", "Work", "Learning", "Proof")
_JUDGED = ("met", "missed", "cannot tell", *SPOILED.values())
_COUNTED = ("By work", "By learning procedure", "By gasket", "By person")
_READY = ("go", "wait", "drive first")
_KINDS = (
    "car", "job", "recording", "finding", "work", "attempt", "proof", "forecast", "photo", "note",
    "card", "codes",
)  # fmt: skip


def site_texts() -> Iterator[tuple[str, str]]:
    """Pairs of where a text stands and the text itself, in English."""
    folder = files("bellmouth.pages") / "templates"
    for place, there in (("", folder), ("site/", folder / "site")):
        for template in sorted(there.iterdir(), key=lambda one: one.name):
            if template.is_file():
                for text in _CALLED.findall(template.read_text(encoding="utf-8")):
                    yield f"{place}{template.name}", text
    tables = (
        ("coach", COACH_WORDS), ("live", LIVE_WORDS), ("cues", PHRASES),
        ("terminal", TERMINAL_WORDS), ("paper", PAPER_WORDS),
        ("reasons", REASONS), ("reasons", DONE_WRONG), ("keys", KEYS),
        ("keys", DRIVING_KEYS),
    )  # fmt: skip
    for source, words in tables:
        yield from ((source, text) for text in words.values())
    yield from (("stages", text) for text in _STAGES)
    yield from (("judgement", text) for text in _JUDGED)
    yield from (("entries", text) for text in _KINDS)
    attempts = (*ADVICE.values(), INTERRUPTED, KEY_AGAIN, AWAY, ENDED)
    yield from (("attempts", text) for text in attempts)
    yield from (("readiness", text) for text in _READY)
    yield from (("work", text) for text in WORK.values())
    yield from (("plots", text) for text in (*PLOT_WORDS.values(), *PLOT_TEXTS))
    yield from (("counts", text) for text in _COUNTED)
    for field in FIELDS:
        yield "car fields", field.words
        yield from (("car fields", words) for _, words in field.choices)
    yield from (("forecast", text) for text in ("one in two", "nine in ten"))
    yield "clear", CLEAR
    yield "safety", SAFETY
    for procedure in packs():
        yield "procedures", procedure.title
        yield "procedures", procedure.safe_state
        yield "procedures", procedure.source
        yield from (("procedures", text) for text in _called(procedure))
        yield from (("procedures", text) for text in _told(procedure) if text)


def _called(procedure: Procedure) -> Iterator[str]:
    """What a coach calls of a procedure, tests too."""
    yield procedure.title
    for step in procedure.steps:
        yield step.say
        events = (step.until.event,) if step.until else ()
        if step.after and step.after not in {one.name for one in procedure.steps}:
            events = (*events, step.after)
        yield from (procedure.event_words(event) for event in (*events, *step.stopped_by))
    yield from (text for sign in procedure.signs for text in (sign.how, sign.what))


def _told(procedure: Procedure) -> Iterator[str]:
    """What is read of a procedure: what for, what hurts, what must stand, how each step is done."""
    yield procedure.purpose
    yield from (*procedure.cautions, *procedure.erases)
    for condition in procedure.conditions:
        yield from (condition.say, condition.mend)
    for step in procedure.steps:
        yield from (step.show, step.caution, step.if_missed, step.instead)
    yield from (sign.how for sign in procedure.signs)
