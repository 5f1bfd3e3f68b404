"""Learning procedures on the terminal: the list, one in full, a plan; and as plain data."""

import math
from collections.abc import Sequence
from typing import Any

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from bellmouth.learning.plan import Planned
from bellmouth.learning.procedure import Condition, Procedure, Step, Window, action_words
from bellmouth.pages.teller import Teller

__all__ = [
    "plan_document",
    "print_plan",
    "print_procedure",
    "print_procedures",
    "procedure_document",
    "time_words",
    "window_words",
]


def window_words(window: Window) -> str:
    """A window in words: ``at least 10 s``, ``about 7 s (6.5 to 7.5)``."""
    least, most = window.least_s, window.most_s
    if math.isinf(most):
        return f"at least {time_words(least)}"
    if window.about_s is not None and least > 0:
        return f"about {window.about_s:g} s ({least:g} to {most:g})"
    return f"within {time_words(most)}" if least <= 0 else f"{least:g} to {most:g} s"


def time_words(seconds: float) -> str:
    """A time as people say it: ``10 s``, ``15 min``, ``8 h``."""
    if seconds >= 3600.0:
        return f"{seconds / 3600.0:g} h"
    return f"{seconds / 60.0:g} min" if seconds >= 600.0 else f"{seconds:g} s"


def print_procedures(procedures: Sequence[Procedure], to: Teller) -> None:
    """The list: name, what for."""
    table = Table.grid(padding=(0, 2))
    for _ in range(2):
        table.add_column(overflow="fold")
    for one in procedures:
        table.add_row(Text(one.name, style="bold"), Text(to.say(one.title)))
    to.out.print(table)
    unsourced = [one for one in procedures if not one.sourced]
    if unsourced:
        to.out.print()
        to.line(
            f"{len(unsourced)} of {len(procedures)} are {unsourced[0].source}: not coached until "
            "you confirm that the car's own manual was checked (--manual-checked). The manual wins."
        )


def print_procedure(one: Procedure, to: Teller) -> None:
    """One procedure in full."""
    to.out.print()
    to.out.print(Text(f"{to.say(one.title)} ({one.name})", style="bold"))
    for text in (one.purpose, f"Source: {one.source}."):
        if text.strip():
            to.hanging(" ", text)
    to.list("Caution", one.cautions, len(one.cautions))
    for when, title in (("before", "Before you start"), ("throughout", "What must stand")):
        told = [condition.say for condition in one.conditions if condition.when == when]
        to.list(title, told, len(told))
    to.section("Steps")
    for number, step in enumerate(one.steps, 1):
        _print_step(number, step, one, to)
    signs = [f"{sign.how}: {sign.what}" for sign in one.signs]
    to.list("How you know that it took", signs, len(signs))
    to.list("It erases", one.erases, len(one.erases))
    to.out.print()
    to.line(f"If anything feels wrong: {one.safe_state}")


def _print_step(number: int, step: Step, procedure: Procedure, to: Teller) -> None:
    optional = f" ({to.say('may be left out')})" if step.optional else ""
    to.out.print(Text(f"{number:2} {to.say(step.say)}{optional}", style="bold"))
    told = [step.show, *_asked(step, procedure)]
    if step.instead:
        told.append(f"May be replaced by {step.instead}, with the reason.")
    if step.caution:
        told.append(f"! {step.caution}")
    said = " ".join(to.say(part) for part in told if part)
    to.out.print(Padding(Text(said), (0, 0, 0, 3)))


def _asked(step: Step, procedure: Procedure) -> list[str]:
    """The step's windows in words."""
    found = []
    if step.after_s is not None:
        anchor = procedure.event_words(step.after) if step.after else "the step before"
        found.append(f"{_capital(window_words(step.after_s))} after {anchor}.")
    if step.times != (1, 1):
        least, most = step.times
        count = str(least) if least == most else f"{least} to {most}"
        limit = f", all within {step.within_s:g} s" if math.isfinite(step.within_s) else ""
        found.append(f"{count} times{limit}.")
    if step.until is not None:
        words = procedure.event_words(step.until.event)
        found.append(f"Until {words}, {step.until.timeout_s:g} s at most.")
    if step.lasts_s is not None:
        found.append(f"Lasts {_lasting(step.lasts_s)}.")
    if step.stopped_by:
        stop, go = (procedure.event_words(event) for event in step.stopped_by)
        found.append(f"The clock stops when {stop}, until {go}.")
    return found


def _lasting(window: Window) -> str:
    """A window as a length: ``1 s at most`` where nothing is too short."""
    if window.least_s <= 0 and not math.isinf(window.most_s):
        return f"{time_words(window.most_s)} at most"
    return window_words(window)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def print_plan(planned: Sequence[Planned], to: Teller) -> None:
    """A plan, in the order in which to do it."""
    to.out.print()
    if not planned:
        to.line("No learning procedure is called for by this work.", "bold")
        return
    for number, item in enumerate(planned, 1):
        to.out.print(Text(f"{number} {to.say(item.procedure.title)}", style="bold"))
        told = [item.why, item.covered]
        if item.instead:
            told.append(f"On other cars instead: {', '.join(item.instead)}; the manual says which.")
        said = [f"({item.procedure.name})", *(to.say(part) for part in told if part)]
        to.out.print(Padding(Text(" ".join(said)), (0, 0, 0, 2)))


def plan_document(planned: Sequence[Planned]) -> dict[str, Any]:
    """A plan as plain data."""
    return {
        "plan": [
            {
                "procedure": item.procedure.name,
                "title": item.procedure.title,
                "why": item.why,
                "covered": item.covered,
                "instead": list(item.instead),
            }
            for item in planned
        ]
    }


def procedure_document(one: Procedure) -> dict[str, Any]:
    """A procedure as plain data; a limit that is not there becomes ``None``. [s]"""
    return {
        "name": one.name,
        "catalogue": one.catalogue,
        "title": one.title,
        "source": one.source,
        "purpose": one.purpose,
        "does": one.does,
        "cautions": list(one.cautions),
        "signs": [{"how": sign.how, "what": sign.what} for sign in one.signs],
        "erases": list(one.erases),
        "conditions": [_condition(condition) for condition in one.conditions],
        "steps": [_step(step) for step in one.steps],
        "safe_state": one.safe_state,
    }


def _condition(condition: Condition) -> dict[str, Any]:
    return {
        "name": condition.name,
        "say": condition.say,
        "when": condition.when,
        "signal": condition.signal,
        "least": condition.least,
        "most": condition.most,
        "unit": condition.unit,
    }


def _step(step: Step) -> dict[str, Any]:
    until = step.until
    return {
        "name": step.name,
        "who": step.who,
        "do": step.do,
        "action": action_words(step.who, step.do),
        "say": step.say,
        "after": step.after,
        "after_s": _window(step.after_s),
        "times": list(step.times),
        "within_s": step.within_s,
        "lasts_s": _window(step.lasts_s),
        "until": until and {"event": until.event, "timeout_s": until.timeout_s},
        "optional": step.optional,
        "caution": step.caution,
    }


def _window(window: Window | None) -> list[float] | None:
    return None if window is None else [window.least_s, window.most_s]
