"""A judgement for people and for programs: step by step, with margins."""

import math
from collections.abc import Mapping
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from bellmouth import __version__
from bellmouth.learning.judgement import (
    CANNOT_TELL,
    MET,
    ConditionJudgement,
    Judgement,
    StepJudgement,
)
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_paper import plain, say
from bellmouth.pages.coach_paper_words import PAPER_WORDS
from bellmouth.pages.lists import hanging, print_list, section

__all__ = ["judgement_document", "print_judgement"]

_MARKS = {MET: "+", CANNOT_TELL: "?"}
_NOTES_SHOWN = 6


def judgement_document(judgement: Judgement) -> dict[str, Any]:
    """A judgement as plain data: what ``bellmouth judge --json`` prints.

    Times are in seconds; an end that is open becomes ``None``.
    """
    return {
        "procedure": judgement.procedure,
        "does": judgement.does,
        "judgement": judgement.judgement,
        "steps": [_step(line) for line in judgement.steps],
        "conditions": [_condition(line) for line in judgement.conditions],
        "consequence": judgement.consequence,
        "repeat": judgement.repeat,
        "advice": judgement.advice,
        "attempts": [
            {
                "begins_s": _rounded(one.begins_s),
                "ends_s": _rounded(one.ends_s),
                "judgement": one.judgement,
                "missed": list(one.missed),
            }
            for one in judgement.attempts
        ],
        "notes": list(judgement.notes),
        "software": {"name": "bellmouth", "version": __version__},
    }


def _step(line: StepJudgement) -> dict[str, Any]:
    measured = line.measured
    return {
        "step": line.step,
        "judgement": line.judgement,
        "measured": measured
        and {
            "value": _rounded(measured.value),
            "low": _rounded(measured.low),
            "high": _rounded(measured.high),
        },
        "window": [_rounded(limit) for limit in line.window],
        "margin": _rounded(line.margin),
        "unit": line.unit,
        "why": line.why,
        "optional": line.optional,
        "at_s": _rounded(line.at_s),
    }


def _condition(line: ConditionJudgement) -> dict[str, Any]:
    return {
        "condition": line.condition,
        "judgement": line.judgement,
        "say": line.say,
        "why": line.why,
        "worst": _rounded(line.worst),
        "unit": line.unit,
        "at_s": _rounded(line.at_s),
        "recorded": line.seen,
    }


def _rounded(value: float | None) -> float | None:
    """To the millisecond; None for a value that is not finite."""
    return round(value, 3) if value is not None and math.isfinite(value) else None


def print_judgement(
    judgement: Judgement,
    out: Console,
    words: Words | None = None,
    procedure: Procedure | None = None,
) -> None:
    """Print a judgement for people, in English where no ``words`` are given.

    Steps are called by their words where the ``procedure`` is given, else by their names.
    """
    words = words or Words()
    told, names = words.told, _names(procedure, words)
    out.print()
    head = f"{words.text(judgement.title)}: {words.text(judgement.judgement)}"
    out.print(Text(head, style="bold"))
    if judgement.consequence:
        out.print(hanging(" ", told(judgement.consequence)))
    section(out, say(words, "by_step"))
    out.print(_table(judgement.steps, names, words))
    whys = [f"{_name(line, names)}: {told(line.why)}" for line in judgement.steps if line.why]
    if len({line.why for line in judgement.steps}) == 1 and whys:
        whys = [told(judgement.steps[0].why)]
    print_list(out, say(words, "why"), whys, len(whys))
    conditions = [_stood(line, words) for line in judgement.conditions]
    print_list(out, say(words, "stood"), conditions, len(conditions))
    if judgement.advice:
        section(out, say(words, "now"))
        out.print(hanging(" ", told(judgement.advice)))
    notes, title = [told(note) for note in judgement.notes], say(words, "read")
    print_list(out, title, notes, _NOTES_SHOWN, words.text(PAPER_WORDS["more"]))


def _names(procedure: Procedure | None, words: Words) -> dict[str, str]:
    """What each step is called; numbered, for two steps may be called alike."""
    steps = procedure.steps if procedure is not None else ()
    return {step.name: f"{at} {words.text(step.say)}" for at, step in enumerate(steps, 1)}


def _name(line: StepJudgement, names: Mapping[str, str]) -> str:
    """The step in words; which of its windows stands after a colon."""
    step, colon, what = line.step.partition(": ")
    if step not in names:
        return line.step
    # A second window is called after the step or the event that it counts from, or "lasts".
    other = names[what].partition(" ")[2] if what in names else what.replace("_", " ")
    return names[step] + (f": {other}" if colon else "")


def _stood(line: ConditionJudgement, words: Words) -> str:
    why = f" {words.told(line.why)}" if line.why else ""
    return f"{words.text(line.say)}: {words.text(line.judgement)}.{why}"


def _table(lines: tuple[StepJudgement, ...], names: Mapping[str, str], words: Words) -> Table:
    table = Table.grid(padding=(0, 2, 0, 0))
    for justify in ("left", "left", "right", "right", "right", "left"):
        table.add_column(justify=justify, overflow="fold")
    heads = ("step", "measured", "window", "margin", "judgement")
    titles = ("", *(_capital(say(words, head)) for head in heads))
    table.add_row(*(Text(title, style="bold") for title in titles))
    for line in lines:
        optional = f", {say(words, 'is_optional')}" if line.optional else ""
        table.add_row(
            _MARKS.get(line.judgement, "x"),
            Text(_name(line, names)),
            _measured(line, words),
            _window(line, words),
            "" if line.margin is None else f"{plain(words, line.margin, '+.2f')} s",
            Text(f"{words.text(line.judgement)}{optional}"),
        )
    return table


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _measured(line: StepJudgement, words: Words) -> str:
    if line.measured is None:
        return ""
    low, high = line.measured.low, line.measured.high
    low_s, high_s = plain(words, low, ".2f"), plain(words, high, ".2f")
    if math.isinf(low) and math.isinf(high):
        return ""
    if math.isinf(high):
        return say(words, "or_more", time=low_s)
    if math.isinf(low):
        return say(words, "or_less", time=high_s)
    value_s = plain(words, line.measured.value, ".2f")
    return say(words, "spread", value=value_s, low=low_s, high=high_s)


def _window(line: StepJudgement, words: Words) -> str:
    least, most = line.window
    if math.isinf(most):
        return say(words, "or_more", time=plain(words, least)) if least > 0 else ""
    if least <= 0:
        return say(words, "at_most", time=plain(words, most))
    return say(words, "between", least=plain(words, least), most=plain(words, most))
