"""How likely the next attempt is to pass, in words."""

from rich.console import Console
from rich.table import Table
from rich.text import Text

from bellmouth.learning.person import KINDS, PersonTiming, Prediction
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.lists import hanging, section

__all__ = ["print_prediction"]

_WORDS = {
    "key": "key",
    "press": "press",
    "release": "let go",
    "beat": "beat, against the last",
    "react": "answer the lamp",
    "other": "other",
}


def print_prediction(
    procedure: Procedure, timing: PersonTiming, prediction: Prediction, out: Console
) -> None:
    """The chance with its interval, the step to practise, what a lead would do, and the habits."""
    section(out, "Next attempt")
    many = "s" if prediction.attempts != 1 else ""
    known = f"from {prediction.attempts} attempt{many}"
    known = known if prediction.attempts else "before any attempt"
    out.print(
        Text(
            f"Chance of passing {prediction.chance:.0%} ({prediction.low:.0%} to "
            f"{prediction.high:.0%}), {known}.",
            style="bold",
        )
    )
    if prediction.steps and prediction.steps[0].miss >= 0.005:
        worst = prediction.steps[0]
        say = procedure.step(worst.step).say
        out.print(hanging("-", f"Practise: {say} ({worst.miss:.0%} likely to be missed)."))
    gain = prediction.led_chance - prediction.chance
    if gain >= 0.01:
        leads = ", ".join(
            f"{_WORDS[kind]} {seconds:+.2f} s" for kind, seconds in prediction.leads.items()
        )
        out.print(hanging("-", f"Called earlier by {leads}: {prediction.led_chance:.0%}."))
    if not prediction.attempts:
        return
    table = Table.grid(padding=(0, 2))
    table.add_row(*(Text(head, style="bold") for head in ("", "late by", "give or take", "seen")))
    for kind in KINDS:
        habit = timing.habit(kind)
        if habit.count:
            table.add_row(
                _WORDS[kind],
                f"{habit.bias_s:+.2f} s ({habit.bias_low_s:+.2f} to {habit.bias_high_s:+.2f})",
                f"{habit.spread_s:.2f} s",
                str(habit.count),
            )
    out.print(table)
