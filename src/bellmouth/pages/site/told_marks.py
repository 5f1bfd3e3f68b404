"""What a person saw, heard and confirmed of an attempt, as a form tells it."""

from collections.abc import Mapping

from bellmouth.errors import BellmouthError
from bellmouth.learning.procedure import Condition, Procedure
from bellmouth.reading import json_in

__all__ = ["events_of", "marks_of", "unseen_of"]

_AT, _STOOD = "at-", "stood-"
_MOST = 100


def events_of(procedure: Procedure) -> dict[str, str]:
    """Events that the steps of a procedure wait for, by name, in words."""
    names = [
        name
        for step in procedure.steps
        for name in ((step.until.event,) if step.until else ()) + tuple(step.stopped_by)
    ]
    return {name: procedure.event_words(name) for name in dict.fromkeys(names)}


def unseen_of(procedure: Procedure) -> tuple[Condition, ...]:
    """Conditions that only a person can tell of."""
    return tuple(one for one in procedure.conditions if not one.signal)


def marks_of(form: Mapping[str, str]) -> dict[str, object] | None:
    """The marks of a form: seconds of events, conditions that stood, and what is written as JSON.

    None where nothing was told. [s]

    Raises
    ------
    BellmouthError
        If it cannot be read.
    """
    found: dict[str, object] = {}
    for name, text in form.items():
        if name.startswith(_AT) and text.strip():
            found[name.removeprefix(_AT)] = _seconds(text)
        elif name.startswith(_STOOD):
            found[name.removeprefix(_STOOD)] = True
    found |= _written(form.get("marks", ""))
    return found or None


def _seconds(text: str) -> list[float]:
    """One second or several, with spaces between them; a decimal comma is one. [s]"""
    try:
        return [float(one.replace(",", ".")) for one in text.replace(";", " ").split()[:_MOST]]
    except ValueError as error:
        raise BellmouthError(
            f'When: "{text}" is no second of the recording. Write it as 45.9; several with spaces.'
        ) from error


def _written(text: str) -> dict[str, object]:
    if not text.strip():
        return {}
    try:
        told = json_in(text)
    except ValueError:
        told = None
    if not isinstance(told, dict):
        raise BellmouthError(
            'Marks are written as {"lamp_blinks": 45.9}: a name and its second each.'
        )
    return told
