"""Read what conditions and events share: names, signals and their limits."""

import math
import re

from bellmouth.learning.procedure import Condition, Step
from bellmouth.learning.procedure_keys import KEYS, REQUIRED
from bellmouth.learning.toml_table import Table
from bellmouth.recording.names import nearest, table
from bellmouth.recording.units import conversion

__all__ = ["ENGINE", "NAME", "read_condition", "read_limits", "read_name"]

#: States of the engine that a condition or a procedure may name.
ENGINE = ("stopped", "running", "both")
#: What steps, events and conditions may be called.
NAME = re.compile(r"^[a-z][a-z0-9_]*$")
#: A limit of a manual in another unit is the same number as a reading that just meets it.
_PLACES = 9


def read_name(entry: Table, pattern: re.Pattern[str], example: str) -> str:
    """A name of the right shape; the example stands in the error."""
    name = entry.text("name")
    if not pattern.match(name):
        entry.refuse(
            f'name = "{name}" is not a name. Write small letters and digits, such as "{example}".',
            "name",
        )
    return name


def read_condition(entry: Table, when: str, steps: tuple[Step, ...]) -> Condition:
    """A condition of the table ``[[before]]`` or ``[[throughout]]``."""
    entry.only(KEYS[when], REQUIRED[when])
    names = [step.name for step in steps]
    signal, least, most = read_limits(entry)
    for key in ("first", "last"):
        if key in entry and entry.text(key) not in names:
            entry.refuse(f'{key} = "{entry.text(key)}" is no step. Steps: {", ".join(names)}.', key)
    if names and _place(entry, "first", names, 0) > _place(entry, "last", names, len(names)):
        entry.refuse("first stands after last, so that it would never have to stand.", "first")
    return Condition(
        name=read_name(entry, NAME, "loads_off"),
        say=entry.text("say"),
        when=when,
        signal=signal,
        least=least,
        most=most,
        unit=table()[signal].unit if signal else entry.text("unit"),
        shortest_s=entry.number("shortest_s", 1.0),
        engine=entry.choice("engine", ENGINE, "both").replace("both", ""),
        first=entry.text("first"),
        last=entry.text("last"),
        mend=entry.text("mend"),
        line=entry.line,
    )


def _place(entry: Table, key: str, names: list[str], left_out: int) -> int:
    return names.index(entry.text(key)) if key in entry else left_out


def read_limits(entry: Table) -> tuple[str, float, float]:
    """A signal and its limits, turned into its own unit; neither where none is given."""
    signal = entry.text("signal")
    if signal and signal not in table():
        close = nearest(signal)
        hint = f'Did you mean "{close}"?' if close else "Use the standard's name of a parameter."
        entry.refuse(f'unknown signal "{signal}". {hint}', "signal")
    if signal and "least" not in entry and "most" not in entry:
        entry.refuse("a signal needs least or most.", "signal")
    if not signal and ("least" in entry or "most" in entry):
        entry.refuse("least and most need a signal.")
    least = entry.number("least", -math.inf, least=None)
    most = entry.number("most", math.inf, least=None)
    if least > most:
        entry.refuse(f"least {least:g} is more than most {most:g}: nothing meets it.")
    if not signal:
        return signal, least, most
    factor, offset = _conversion(entry, signal)
    return signal, round(factor * least + offset, _PLACES), round(factor * most + offset, _PLACES)


def _conversion(entry: Table, signal: str) -> tuple[float, float]:
    """From the unit of a manual to the signal's own."""
    own = table()[signal].unit
    found = conversion(entry.text("unit"), own)
    if found is None:
        entry.refuse(f'write unit = "{own}", the unit of {signal}.', "unit")
    return found
