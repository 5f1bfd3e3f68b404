"""A procedure on one printed side, and the script that one person calls to another. Plain text."""

import math
from collections.abc import Callable
from itertools import groupby

from bellmouth.learning.call_script import CallLine, call_script
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.procedures import window_words

__all__ = ["coach_card", "two_person_script"]

_WIDE = 78
_TIMED_S = 600.0


def coach_card(procedure: Procedure) -> str:
    """The card: header, boxes, timeline to scale, a row a step with planned and actual seconds."""
    lines = [procedure.title.upper(), "=" * _WIDE]
    lines += ["Car: ____________________  Date: ____________  km: _________  Who: ____________"]
    lines += [f"Source: {procedure.source}.  Manual section checked: __________________________"]
    lines += [f"! {caution}" for caution in procedure.cautions]
    lines += [f"! It erases: {', '.join(procedure.erases)}."] if procedure.erases else []
    lines += ["", "BEFORE YOU START, AND STANDING"]
    lines += [f"[ ] {condition.say}" for condition in procedure.conditions]
    lines += ["", *_timeline(procedure), ""]
    lines += ["   at s   actual   step"]
    for since, group in groupby(call_script(procedure), key=lambda line: line.since):
        if since:
            lines.append(f"   ---- from the moment that {since}, at ________ : count from 0 ----")
        lines += [text for line in group for text in _row(line)]
    lines += ["", "HOW YOU KNOW THAT IT TOOK"]
    lines += [f"[ ] {sign.how}: {sign.what}" for sign in procedure.signs]
    lines += ["", f"STOP at any time: {procedure.safe_state}"]
    return "\n".join(lines) + "\n"


def _row(line: CallLine) -> list[str]:
    step = line.step
    optional = " (optional)" if step.optional else ""
    rows = [f"{_at(line.at_s):>7}  [______]  {step.say.upper()}{optional}"]
    told = [step.show, _length(line), _presses(line)]
    if line.awaits:
        longest = f", {line.longest_s:g} s at most" if math.isfinite(line.longest_s) else ""
        told.append(f"[ ] {line.awaits}{longest}")
    if step.caution:
        told.append(f"! {step.caution}")
    return rows + [f"{'':19}{text}" for text in told if text]


def _at(seconds: float) -> str:
    """Seconds on the clock, or hours and minutes once they are more."""
    if seconds < 3600.0:
        return f"{seconds:.1f}"
    return f"{int(seconds // 3600)} h {int(seconds % 3600 // 60):02}"


def _length(line: CallLine) -> str:
    step = line.step
    if step.lasts_s is not None:
        return f"Lasts {window_words(step.lasts_s)}."
    if step.after_s is not None:
        return f"{window_words(step.after_s).capitalize()} after {line.after}."
    return ""


def _presses(line: CallLine) -> str:
    if not line.presses_s:
        return ""
    times = " ".join(f"{at_s:.1f}" for at_s in line.presses_s)
    within = f", all within {line.step.within_s:g} s" if math.isfinite(line.step.within_s) else ""
    return f"Press at {times}{within}."


def _timeline(procedure: Procedure) -> list[str]:
    """A bar to scale for each part whose times are known beforehand."""
    found: list[str] = []
    # A time line to scale, which a glance can follow.
    for since, group in groupby(call_script(procedure), key=lambda line: line.since):
        lines = list(group)
        ends = [line.ends_s for line in lines if math.isfinite(line.ends_s)]
        whole = max([*ends, lines[-1].at_s])
        if not 0.0 < whole <= _TIMED_S:
            continue
        marks = [" "] * _WIDE
        for number, line in enumerate(lines, 1):
            marks[min(int(line.at_s / whole * (_WIDE - 2)), _WIDE - 1)] = str(number % 10)
        found += [f"From {f'when {since}' if since else 'the first action'}, {whole:g} s:"]
        found += ["|" + "-" * (_WIDE - 2) + "|", "".join(marks).rstrip()]
    return found


def two_person_script(procedure: Procedure, word: Callable[[str], str] = str.upper) -> str:
    """What the caller reads out, with cumulative seconds, and a blank for what was done.

    ``word`` sets the words that are called apart.
    """
    lines = [f"{procedure.title}: the caller reads, the doer acts.", ""]
    lines += ["Caller: count aloud three, two, one; say the word on the second.", ""]
    for since, group in groupby(call_script(procedure), key=lambda line: line.since):
        if since:
            lines.append(f"  When the doer says that {since}: start the watch again at 0.")
        for line in group:
            at = f"{line.at_s:6.1f} s"
            lines.append(f"  {at}  {word(line.step.say):<34} done at ______")
            if line.presses_s:
                lines.append(f"{'':12}{_presses(line)}")
            if line.awaits:
                lines.append(f"{'':12}Doer: say so when {line.awaits}.")
    lines += ["", f"Either may shout STOP: {procedure.safe_state}"]
    return "\n".join(lines) + "\n"
