"""How likely the next attempt is to pass, in words: the same for terminal and page."""

from dataclasses import dataclass

from bellmouth.learning.person import KINDS, Habit, PersonTiming, Prediction
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_terminal_words import TERMINAL_WORDS as FIXED

__all__ = ["Chances", "chances_view"]

#: A step that is missed less often is no matter to practise; a gain that is smaller, none to name.
_WORTH_PRACTISING, _WORTH_A_LEAD = 0.005, 0.01
#: A lead that would be told as none. [s]
_LEAST_LEAD_S = 0.005


@dataclass(frozen=True, slots=True)
class Chances:
    """The next attempt, in the reader's language.

    Attributes
    ----------
    title, chance
        A heading, and the chance with its interval and what it rests on.
    advice
        The step to practise, and what calling earlier would do, where either is worth it.
    heads, habits
        A table: kind of action, how late, give or take how much, how often it was seen.
    """

    title: str
    chance: str
    advice: tuple[str, ...]
    heads: tuple[str, str, str, str]
    habits: tuple[tuple[str, str, str, str], ...]


def chances_view(
    procedure: Procedure, timing: PersonTiming, prediction: Prediction, words: Words
) -> Chances:
    """What is foretold, and of which habits."""
    tell = _Teller(words)
    share = tell.share
    chance, low, high = share(prediction.chance), share(prediction.low), share(prediction.high)
    known = tell.known(prediction.attempts)
    habits = [timing.habit(kind) for kind in KINDS] if prediction.attempts else []
    return Chances(
        title=tell.say("next_attempt"),
        chance=tell.say("chance", chance=chance, low=low, high=high, known=known),
        advice=tuple(_advice(procedure, prediction, tell)),
        heads=("", tell.say("late_by"), tell.say("spread"), tell.say("seen")),
        habits=tuple(_habit(one, tell) for one in habits if one.count),
    )


def _advice(procedure: Procedure, prediction: Prediction, tell: "_Teller") -> list[str]:
    found = []
    if prediction.steps and prediction.steps[0].miss >= _WORTH_PRACTISING:
        worst = prediction.steps[0]
        what = tell.words.text(procedure.step(worst.step).say)
        found.append(tell.say("practise", what=what, miss=tell.share(worst.miss)))
    if prediction.led_chance - prediction.chance >= _WORTH_A_LEAD:
        leads = ", ".join(
            f"{tell.say(f'kind_{kind}')} {tell.seconds(seconds)}"
            for kind, seconds in prediction.leads.items()
            if abs(seconds) >= _LEAST_LEAD_S
        )
        found.append(tell.say("led", leads=leads, chance=tell.share(prediction.led_chance)))
    return found


def _habit(habit: Habit, tell: "_Teller") -> tuple[str, str, str, str]:
    low, high = (
        tell.seconds(one).removesuffix(" s") for one in (habit.bias_low_s, habit.bias_high_s)
    )
    return (
        tell.say(f"kind_{habit.kind}"),
        tell.say("between", value=tell.seconds(habit.bias_s), low=low, high=high),
        tell.seconds(habit.spread_s).removeprefix("+"),
        str(habit.count),
    )


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
