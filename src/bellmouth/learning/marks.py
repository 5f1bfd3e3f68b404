"""Marks: what a person saw, heard, tapped or confirmed, on the recording's clock."""

import difflib
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from bellmouth.errors import ProcedureError
from bellmouth.learning.evidence import Moment
from bellmouth.learning.procedure import Procedure
from bellmouth.reading import json_in, text_of

__all__ = [
    "ACTION_MARKS",
    "EARLY_S",
    "LATE_S",
    "TO_THE_FLOOR",
    "Marks",
    "check_marks",
    "read_marks",
]

#: A person marks what they saw or heard after it, this long at most, and hardly before. [s]
LATE_S, EARLY_S = 0.3, 0.05
#: Actions that may be marked beside events, steps and conditions.
ACTION_MARKS = ("key_on", "key_off", "press", "release", "engine_start", "engine_stop")
#: Whether the deepest press was to the floor, as somebody saw.
TO_THE_FLOOR = "to_the_floor"
_UNTIL = "watched_until"
#: No recording is longer, and no number that is can be told as a time. [s]
_LATEST_S = 1e9
_EXAMPLE = '{"lamp_blinks": 45.9, "lamp_steady": 53.9}'


@dataclass(frozen=True)
class Marks:
    """Marks as read.

    ``moments`` holds times by name (empty where somebody watched and it did not happen),
    ``confirmed`` conditions that stood or did not, ``reasons`` why a step was skipped or what
    replaced it. ``watched_until_s`` is up to when whoever marked went on looking, None where they
    do not say. [s] ``source`` is the file that they were read from.
    """

    moments: Mapping[str, tuple[Moment, ...]] = field(default_factory=dict)
    confirmed: Mapping[str, bool] = field(default_factory=dict)
    reasons: Mapping[str, str] = field(default_factory=dict)
    watched_until_s: float | None = None
    source: str = "marks"


def read_marks(marks: str | Path | Mapping[str, object] | None) -> Marks:
    """Marks from a JSON file or a table of plain values.

    A value is a time, a list of times, ``{"at": time, "give": seconds}``, null (watched, did not
    happen), true or false (a condition stood or did not), or text (why a step was skipped or what
    replaced it). ``watched_until`` is a time alone: up to it, whatever was done is marked.

    Raises
    ------
    ProcedureError
        One sentence with the file, the mark and what to do.
    """
    if marks is None:
        return Marks()
    if isinstance(marks, Mapping):
        return _marks(marks, "marks")
    path = Path(marks)
    try:
        document = json_in(text_of(path))
    except OSError as error:
        raise ProcedureError(f"{path.name}: cannot be read ({error.strerror}).") from error
    except ValueError as error:
        raise ProcedureError(f"{path.name}: not a JSON file ({error}).") from error
    if not isinstance(document, dict):
        raise ProcedureError(f"{path.name}: marks are one object, such as {_EXAMPLE}.")
    return _marks(document, path.name)


def _marks(document: Mapping[str, object], source: str) -> Marks:
    moments: dict[str, tuple[Moment, ...]] = {}
    confirmed: dict[str, bool] = {}
    reasons: dict[str, str] = {}
    until_s = None
    for name, value in document.items():
        if name == _UNTIL:
            until_s = _seconds(name, value, source)
        elif isinstance(value, bool):
            confirmed[name] = value
        elif isinstance(value, str):
            reasons[name] = value
        else:
            moments[name] = tuple(_moments(name, value, source))
    return Marks(moments, confirmed, reasons, until_s, source)


def _moments(name: str, value: object, source: str) -> Iterable[Moment]:
    if value is None:
        return []
    if isinstance(value, list):
        found = [moment for item in value for moment in _moments(name, item, source)]
        return sorted(found, key=lambda moment: moment.best_s)
    if isinstance(value, Mapping):
        if set(value) - {"at", "give"} or "at" not in value:
            raise ProcedureError(
                f'{source}, mark "{name}": write {{"at": 45.9, "give": 0.2}}, seconds both.'
            )
        at, give = (_seconds(name, value.get(key, 0.0), source) for key in ("at", "give"))
        return [Moment(at - give, at + give, at)]
    at = _seconds(name, value, source)
    return [Moment(at - LATE_S, at + EARLY_S, at)]


def _seconds(name: str, value: object, source: str) -> float:
    number = value if isinstance(value, int | float) and not isinstance(value, bool) else math.nan
    if not 0 <= number <= _LATEST_S:
        raise ProcedureError(
            f'{source}, mark "{name}": {value!r} is not a time in seconds on the recording\'s '
            f"clock. Write such as {_EXAMPLE}."
        )
    return float(number)


def check_marks(marks: Marks, procedure: Procedure) -> None:
    """Refuse names that mean nothing in this procedure.

    Raises
    ------
    ProcedureError
        Naming the mark and those that are known.
    """
    steps = [step.name for step in procedure.steps]
    conditions = [condition.name for condition in procedure.conditions]
    events = list(procedure.every_event())
    known = (
        (marks.moments, [*ACTION_MARKS, *events, *steps], "events, actions and steps"),
        (marks.confirmed, [*conditions, TO_THE_FLOOR], "conditions"),
        (marks.reasons, steps, "steps"),
    )
    for given, names, kind in known:
        for name in given:
            if name not in names:
                close = difflib.get_close_matches(name, names, 1)
                listed = ", ".join(dict.fromkeys(names)) or "none"
                hint = f'Did you mean "{close[0]}"? ' if close else ""
                raise ProcedureError(
                    f'{marks.source}, mark "{name}" means nothing in {procedure.name}. {hint}'
                    f"Known {kind}: {listed}."
                )
