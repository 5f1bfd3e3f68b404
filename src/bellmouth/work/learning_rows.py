"""The learning procedures that a job calls for, as rows of a card."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from bellmouth.errors import ProcedureError
from bellmouth.learning.packs import find_procedure, packs
from bellmouth.learning.plan import plan
from bellmouth.learning.procedure import Procedure, Step, Window
from bellmouth.work.works import learned_for

__all__ = ["LearningRow", "LearningStep", "called_for", "learning_row", "learning_texts"]

_TEST = "test"


@dataclass(frozen=True, slots=True)
class LearningStep:
    """A step of a procedure and its time. [s]

    ``kind`` says what the time is: ``least``, ``most``, ``about`` or ``until`` (``event`` comes,
    waited for at most so long); empty where the step has none.
    """

    say: str
    kind: str = ""
    time_s: float = 0.0
    event: str = ""


@dataclass(frozen=True, slots=True)
class LearningRow:
    """A procedure on the card: title, steps with planned times, how to know that it took.

    ``instead`` are short numbers of others that do the same on other cars.
    """

    name: str
    catalogue: str
    title: str
    source: str
    steps: tuple[LearningStep, ...]
    signs: tuple[str, ...]
    instead: tuple[str, ...] = ()


def called_for(works: Iterable[str], *, battery_off: bool = False) -> tuple[LearningRow, ...]:
    """The procedures that the works, or a lifted battery instead, call for, in their order."""
    planned = plan(["battery_disconnected"] if battery_off else learned_for(works))
    # A leak is looked for before anything is learned, by a step of its own.
    learned = [one for one in planned if one.procedure.does != _TEST]
    return tuple(_row(one.procedure, one.instead) for one in learned)


def learning_row(name: str) -> LearningRow:
    """The row of a procedure by its name, its short number or a file of the user's.

    Raises
    ------
    ProcedureError
        Where there is none of that name, its file cannot be used, or nothing is learned by it.
    """
    procedure = find_procedure(name)
    if procedure.does == _TEST:
        raise ProcedureError(
            f'"{procedure.title}" is a test: nothing is learned by it. Name a learning procedure.'
        )
    return _row(procedure, ())


def _row(procedure: Procedure, instead: Iterable[str]) -> LearningRow:
    return LearningRow(
        name=procedure.name,
        catalogue=procedure.catalogue,
        title=procedure.title,
        source=procedure.source,
        steps=tuple(_step(step, procedure) for step in procedure.steps),
        signs=tuple(sign.what for sign in procedure.signs),
        instead=tuple(find_procedure(other).title for other in instead),
    )


def _step(step: Step, procedure: Procedure) -> LearningStep:
    if step.until is not None:
        event = procedure.event_words(step.until.event)
        return LearningStep(step.say, "until", step.until.timeout_s, event)
    if not math.isinf(step.within_s):
        return LearningStep(step.say, "most", step.within_s)
    return LearningStep(step.say, *_time(step.lasts_s or step.after_s))


def _time(window: Window | None) -> tuple[str, float]:
    if window is None:
        return "", 0.0
    if math.isinf(window.most_s):
        return "least", window.least_s
    if window.least_s <= 0:
        return "most", window.most_s
    return "about", window.aim_s


def learning_texts() -> tuple[tuple[str, str], ...]:
    """Every text of the packs that a card can show, with the file that it stands in."""
    shown = [procedure for procedure in packs() if procedure.does != _TEST]
    return tuple(
        (f"packs/{procedure.file}", text) for procedure in shown for text in _shown(procedure)
    )


def _shown(procedure: Procedure) -> tuple[str, ...]:
    return (
        procedure.title,
        *(step.say for step in procedure.steps),
        *(sign.what for sign in procedure.signs),
        *(procedure.event_words(step.until.event) for step in procedure.steps if step.until),
    )
