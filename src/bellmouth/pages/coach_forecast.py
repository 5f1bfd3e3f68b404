"""How likely the next attempt is to pass, in a terminal."""

from rich.console import Console
from rich.table import Table
from rich.text import Text

from bellmouth.learning.person import PersonTiming, Prediction
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_chances import Chances, chances_view
from bellmouth.pages.lists import hanging, section

__all__ = ["print_prediction"]


def print_prediction(
    procedure: Procedure,
    timing: PersonTiming,
    prediction: Prediction,
    out: Console,
    words: Words | None = None,
) -> None:
    """The chance with its interval, the step to practise, what a lead would do, and the habits."""
    shown = chances_view(procedure, timing, prediction, words or Words())
    section(out, shown.title)
    out.print(Text(shown.chance, style="bold"))
    for sentence in shown.advice:
        out.print(hanging("-", sentence))
    if prediction.attempts:
        out.print(_habits(shown))


def _habits(shown: Chances) -> Table:
    table = Table.grid(padding=(0, 2))
    table.add_row(*(Text(head, style="bold") for head in shown.heads))
    for row in shown.habits:
        table.add_row(*row)
    return table
