"""What is said and asked before an attempt, in the reader's language."""

import sys
from typing import TYPE_CHECKING

import click

from bellmouth.errors import ProcedureError
from bellmouth.learning.packs import refuse_unchecked
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.reasons import reason
from bellmouth.learning.session import Session
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_terminal_words import TERMINAL_WORDS
from bellmouth.pages.lists import console, print_list

if TYPE_CHECKING:
    from bellmouth.learning.watching import CarObserver

__all__ = [
    "confirm_manual", "confirm_standing", "fixed", "introduce", "show_readings", "sound_words",
]  # fmt: skip


def fixed(words: Words, name: str, **filled: str) -> str:
    """One of the coach's fixed words."""
    return words.text(TERMINAL_WORDS[name]).format(**filled)


def sound_words(words: Words, told: str) -> str:
    """What sounds; why it is the bell alone may be the system's own words."""
    bell, end = TERMINAL_WORDS["bell"].split("{why}")
    if told.startswith(bell):
        return fixed(words, "bell", why=words.text(told.removeprefix(bell).removesuffix(end)))
    return words.text(told)


def introduce(procedure: Procedure, words: Words) -> None:
    """What it is, what can hurt, what must stand: before anything is asked."""
    out, text = console(), words.text
    out.print(f"{text(procedure.title)}: {text(procedure.purpose)}".removesuffix(": "))
    cautions = [text(caution) for caution in procedure.cautions]
    print_list(out, fixed(words, "caution"), cautions, len(cautions))
    lost = ", ".join(text(one) for one in procedure.erases)
    print_list(out, fixed(words, "lose"), [fixed(words, "erases", what=lost)] if lost else [], 1)
    stands = [text(condition.say) for condition in procedure.conditions]
    print_list(out, fixed(words, "standing"), stands, len(stands))
    out.print(f"\n{fixed(words, 'wrong', state=text(procedure.safe_state))}")
    drives = any(step.who == "road" for step in procedure.steps)
    out.print(f"{fixed(words, 'driving')}\n" if drives else "")


def confirm_manual(procedure: Procedure, words: Words, *, checked: bool) -> None:
    """Ask whether the car's own manual was checked; without that nothing is coached on a car.

    Raises
    ------
    ProcedureError
        Where it was not, or there is nobody to ask.
    """
    if checked:
        return
    if sys.stdin.isatty():
        checked = click.confirm(fixed(words, "checked"), default=False)
    refuse_unchecked(procedure, manual_checked=checked)
    if not checked:
        raise ProcedureError(
            f'"{procedure.title}" is not coached until you confirm that the car\'s own manual was '
            "checked: --manual-checked."
        )


def confirm_standing(procedure: Procedure, words: Words) -> dict[str, bool]:
    """Ask whether everything stands that only a person can tell; for the judge afterwards.

    Raises
    ------
    ProcedureError
        Where it does not.
    """
    unseen = [condition for condition in procedure.conditions if not condition.signal]
    if not unseen or not sys.stdin.isatty():
        return {}
    if not click.confirm(fixed(words, "stands"), default=True):
        raise ProcedureError("Nothing is begun before everything stands; see the list above.")
    return {condition.name: True for condition in unseen}


def show_readings(procedure: Procedure, words: Words, observer: "CarObserver") -> None:
    """Conditions that the car itself shows, before the start."""
    session = Session(procedure)
    for name, value in observer.look().items():
        session.standing.read(name, value, 0.0)
    for condition, reading in session.standing.unmet():
        filled = {"condition": condition.say, "mend": condition.mend}
        if reading is None:
            sentence = reason("unmet", **filled)
        else:
            shown = f"{reading:.1f} {condition.unit}".strip()
            sentence = reason("reads", reading=shown, **filled)
        click.echo(f"! {words.told(sentence)}")
