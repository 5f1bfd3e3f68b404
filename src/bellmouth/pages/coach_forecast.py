"""How likely the next attempt is to pass, in words."""

from rich.console import Console
from rich.table import Table
from rich.text import Text

from bellmouth.learning.person import KINDS, PersonTiming, Prediction
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_terminal_words import TERMINAL_WORDS as FIXED
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
    tell = _Teller(words or Words())
    section(out, tell.say("next_attempt"))
    share = tell.share
    chance, low, high = share(prediction.chance), share(prediction.low), share(prediction.high)
    known = tell.known(prediction.attempts)
    line = tell.say("chance", chance=chance, low=low, high=high, known=known)
    out.print(Text(line, style="bold"))
    if prediction.steps and prediction.steps[0].miss >= 0.005:
        worst = prediction.steps[0]
        what = tell.words.text(procedure.step(worst.step).say)
        out.print(hanging("-", tell.say("practise", what=what, miss=share(worst.miss))))
    if prediction.led_chance - prediction.chance >= 0.01:
        leads = ", ".join(
            f"{tell.say(f'kind_{kind}')} {tell.seconds(seconds)}"
            for kind, seconds in prediction.leads.items()
        )
        out.print(hanging("-", tell.say("led", leads=leads, chance=share(prediction.led_chance))))
    if prediction.attempts:
        out.print(_habits(timing, tell))


class _Teller:
    """Says the fixed words and figures in a language."""

    def __init__(self, words: Words) -> None:
        self.words = words

    def say(self, name: str, **filled: str) -> str:
        return self.words.text(FIXED[name]).format(**filled)

    def share(self, probability: float) -> str:
        """In whole per cent; never 0 or 100, which nobody can know."""
        return self.words.percent(probability).replace("\u00a0", " ")

    def seconds(self, seconds: float) -> str:
        """With its sign. [s]"""
        told = f"{seconds:+.2f} s"
        return told if self.words.language == "en" else told.replace(".", ",")

    def known(self, attempts: int) -> str:
        if attempts == 1:
            return self.say("from_one")
        return self.say("from_many", count=str(attempts)) if attempts else self.say("from_none")


def _habits(timing: PersonTiming, tell: _Teller) -> Table:
    table = Table.grid(padding=(0, 2))
    heads = ("", tell.say("late_by"), tell.say("spread"), tell.say("seen"))
    table.add_row(*(Text(head, style="bold") for head in heads))
    for kind in KINDS:
        habit = timing.habit(kind)
        if habit.count:
            low, high = (
                tell.seconds(one).removesuffix(" s")
                for one in (habit.bias_low_s, habit.bias_high_s)
            )
            table.add_row(
                tell.say(f"kind_{kind}"),
                tell.say("between", value=tell.seconds(habit.bias_s), low=low, high=high),
                tell.seconds(habit.spread_s).removeprefix("+"),
                str(habit.count),
            )
    return table
