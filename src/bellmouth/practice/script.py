"""A driver's script for the live practice car: TOML, each action at its own car time."""

import difflib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from bellmouth.errors import BellmouthError
from bellmouth.practice.ignition import CONTROLS, Action, Key
from bellmouth.reading import text_of, toml_in

__all__ = ["actions_of", "read_script"]

_KEYS: Mapping[str, Key] = {key.name.lower(): key for key in Key}


def actions_of(rows: Iterable[tuple[float, str, float | str]]) -> tuple[Action, ...]:
    """Actions from rows of car time [s], control and value; keys by word (``on``) or number.

    Raises
    ------
    BellmouthError
        If a control or its value is not one that the car has.
    """
    return tuple(Action(at_s, control, _value(control, value)) for at_s, control, value in rows)


def _value(control: str, value: float | str) -> float:
    if control == "key" and isinstance(value, str):
        if value not in _KEYS:
            raise BellmouthError(f'The key has no position "{value}"; it has {", ".join(_KEYS)}.')
        return float(_KEYS[value])
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise BellmouthError(f'{control} is "{value}", not a number.')
    return float(value)


def read_script(path: str | Path) -> tuple[Action, ...]:
    """Read a script: tables ``[[at]]`` with ``s`` and any of the controls.

    Raises
    ------
    BellmouthError
        Where the file cannot be read, is not TOML or asks for what the car has not got; one
        sentence with file, place and what to do.
    """
    path = Path(path)
    try:
        document = toml_in(text_of(path))
    except OSError as error:
        raise BellmouthError(f"{path.name}: cannot be read ({error.strerror}).") from error
    except ValueError as error:
        raise BellmouthError(f"{path.name}: not a TOML file ({error}).") from error
    tables = document.pop("at", [])
    if document or not isinstance(tables, list):
        raise BellmouthError(
            f"{path.name}: a driver's script is made of [[at]] tables alone, such as "
            '[[at]] s = 2.0, key = "on".'
        )
    found: list[Action] = []
    for number, table in enumerate(tables, 1):
        found += _table(table, f"{path.name}, [[at]] number {number}")
    return tuple(sorted(found, key=lambda action: action.at_s))


def _table(table: object, where: str) -> list[Action]:
    if not isinstance(table, Mapping) or "s" not in table:
        raise BellmouthError(f"{where}: s, the car time in seconds, is missing.")
    values: dict[str, Any] = dict(table)
    at_s = values.pop("s")
    if isinstance(at_s, bool) or not isinstance(at_s, int | float) or not 0 <= at_s < 1e6:
        raise BellmouthError(f"{where}: s is {at_s!r}; write seconds from 0 on.")
    for control in values:
        if control not in CONTROLS:
            near = difflib.get_close_matches(control, CONTROLS, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(CONTROLS)}."
            raise BellmouthError(f"{where}: no control {control}; {hint}")
    try:
        return list(actions_of((float(at_s), control, value) for control, value in values.items()))
    except BellmouthError as error:
        raise BellmouthError(f"{where}: {error}") from None
