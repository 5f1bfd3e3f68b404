"""A judgement for people and for programs: step by step, with margins."""

import math
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


def print_judgement(judgement: Judgement, out: Console) -> None:
    """Print a judgement for people."""
    out.print()
    out.print(Text(f"{judgement.title}: {judgement.judgement}", style="bold"))
    if judgement.consequence:
        out.print(hanging(" ", judgement.consequence))
    section(out, "Step by step")
    out.print(_table(judgement.steps))
    whys = [f"{line.step}: {line.why}" for line in judgement.steps if line.why]
    print_list(out, "Why", whys, len(whys))
    conditions = [
        f"{line.say}: {line.judgement}.{' ' + line.why if line.why else ''}"
        for line in judgement.conditions
    ]
    print_list(out, "What had to stand", conditions, len(conditions))
    if judgement.advice:
        section(out, "What to do now")
        out.print(hanging(" ", judgement.advice))
    print_list(out, "How it was read", judgement.notes, _NOTES_SHOWN)


def _table(lines: tuple[StepJudgement, ...]) -> Table:
    table = Table.grid(padding=(0, 2, 0, 0))
    for justify in ("left", "left", "right", "right", "right", "left"):
        table.add_column(justify=justify, overflow="fold")
    heads = ("", "Step", "Measured", "Window", "Margin", "Judgement")
    table.add_row(*(Text(head, style="bold") for head in heads))
    for line in lines:
        word = f"{line.judgement}{', optional' if line.optional else ''}"
        table.add_row(
            _MARKS.get(line.judgement, "x"),
            Text(line.step),
            _measured(line),
            _window(line),
            "" if line.margin is None else f"{line.margin:+.2f} s",
            Text(word),
        )
    return table


def _measured(line: StepJudgement) -> str:
    if line.measured is None:
        return ""
    low, high = line.measured.low, line.measured.high
    if math.isinf(low) and math.isinf(high):
        return ""
    if math.isinf(high):
        return f"{low:.2f} s or more"
    if math.isinf(low):
        return f"{high:.2f} s or less"
    return f"{line.measured.value:.2f} s ({low:.2f} to {high:.2f})"


def _window(line: StepJudgement) -> str:
    least, most = line.window
    if math.isinf(most):
        return f"{least:g} s or more" if least > 0 else ""
    return f"at most {most:g} s" if least <= 0 else f"{least:g} to {most:g} s"
