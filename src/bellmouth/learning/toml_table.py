"""One table of a procedure's file, read key by key; an error names file, line and step."""

import difflib
import re
from collections.abc import Mapping, Sequence
from typing import Any, NoReturn

from bellmouth.errors import ProcedureError, shown

__all__ = ["Lines", "Table"]

_HEADER = re.compile(r"^\s*\[(?P<many>\[)?\s*(?P<name>[\w.-]+)\s*\]?\]\s*(?:#.*)?$")
_KEY = re.compile(r"^\s*[\"']?(?P<key>[\w-]+)[\"']?\s*(?:\.\s*[\w-]+\s*)*=")


class Lines:
    """On which line of a TOML text each table and key stands.

    A table is ``("step", 2)``, the third ``[[step]]``; the top table is ``("", 0)``.
    """

    def __init__(self, text: str) -> None:
        self._found: dict[tuple[str, int, str], int] = {}
        counts: dict[str, int] = {}
        table = ("", 0)
        for number, line in enumerate(text.splitlines(), 1):
            if header := _HEADER.match(line):
                name = header["name"]
                table = (name, counts.get(name, 0))
                counts[name] = table[1] + 1
                self._found.setdefault((*table, ""), number)
            elif key := _KEY.match(line):
                self._found.setdefault((*table, key["key"]), number)

    def of(self, table: str, index: int, key: str = "") -> int:
        """Line of a key, else of its table's header, else 0."""
        return self._found.get((table, index, key)) or self._found.get((table, index, ""), 0)


class Table:
    """A table and where it stands; every reader raises ``ProcedureError``."""

    def __init__(
        self, values: Mapping[str, Any], source: str, lines: Lines, kind: str = "", index: int = 0
    ) -> None:
        self.values = values
        self.source = source
        self.lines = lines
        self.kind = kind
        self.index = index
        name = values.get("name")
        self.called = f'{kind} "{name}"' if kind and isinstance(name, str) and name else ""
        if kind and not self.called:
            self.called = f"{kind} {index + 1}"

    def __contains__(self, key: str) -> bool:
        return key in self.values

    @property
    def line(self) -> int:
        """Line of the table's header, 0 for a table that is in no file."""
        return self.lines.of(self.kind, self.index)

    def refuse(self, sentence: str, key: str = "") -> NoReturn:
        """Raise an error that says where."""
        line = self.lines.of(self.kind, self.index, key)
        place = [self.source, f"line {line}" if line else "", self.called]
        raise ProcedureError(f"{', '.join(word for word in place if word)}: {sentence}")

    def only(self, keys: Sequence[str], required: Sequence[str] = ()) -> None:
        """Refuse keys that are not known and miss those that must be there."""
        for key in self.values:
            if key not in keys:
                close = difflib.get_close_matches(str(key), keys, n=1, cutoff=0.6)
                hint = f"Did you mean {close[0]}?" if close else f"Keys are {', '.join(keys)}."
                self.refuse(f"unknown key {key}. {hint}", key)
        for key in required:
            if key not in self.values:
                self.refuse(f"{key} is missing.")

    def text(self, key: str, default: str = "") -> str:
        """Text, not empty where it is given."""
        value = self.values.get(key, default)
        if not isinstance(value, str):
            self.refuse(f"{key} is {shown(value)}, not text. Put it in quotes.", key)
        if key in self.values and not value.strip():
            self.refuse(f"{key} is empty. Fill it in or leave it out.", key)
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts, empty where it is not given."""
        value = self.values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            self.refuse(f'{key} is {shown(value)}, not a list of texts such as ["a", "b"].', key)
        return tuple(value)

    def choice(self, key: str, known: Sequence[str], default: str = "") -> str:
        """One of a few words."""
        value = self.text(key, default)
        if value not in known and (key in self.values or not default):
            close = difflib.get_close_matches(value, known, n=1, cutoff=0.6)
            hint = f'Did you mean "{close[0]}"?' if close else f"Write one of {', '.join(known)}."
            self.refuse(f'{key} = "{value}" is not known. {hint}', key)
        return value

    def flag(self, key: str) -> bool:
        """True or false; false where it is not given."""
        value = self.values.get(key, False)
        if not isinstance(value, bool):
            self.refuse(f"{key} is {shown(value)}. Write true or false.", key)
        return value

    def number(self, key: str, default: float, *, least: float | None = 0.0) -> float:
        """A finite number, at least ``least`` unless that is None."""
        value = self.values.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.refuse(f"{key} is {shown(value)}, not a number.", key)
        if key in self.values and not abs(value) < float("inf"):
            self.refuse(f"{key} = {value} is not a finite number.", key)
        if least is not None and value < least:
            self.refuse(f"{key} = {value:g} is impossible. It is {least:g} or more.", key)
        return float(value)

    def whole(self, key: str, default: int, *, least: int = 0) -> int:
        """A whole number, at least ``least``."""
        value = self.values.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int):
            self.refuse(f"{key} is {shown(value)}, not a whole number.", key)
        if value < least:
            self.refuse(f"{key} = {value} is impossible. It is {least} or more.", key)
        return value

    def inner(self, key: str, example: str) -> "Table | None":
        """A table inside this one, or None; errors stand on this key's line."""
        if key not in self.values:
            return None
        value = self.values[key]
        if not isinstance(value, Mapping):
            self.refuse(f"{key} is {shown(value)}. Write {key} = {example}.", key)
        return _Inner(value, self, key)

    def tables(self, key: str) -> tuple["Table", ...]:
        """The tables ``[[key]]``, in order."""
        value = self.values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, Mapping) for item in value):
            self.refuse(f"{key} is {shown(value)}. Write a table [[{key}]] for each.", key)
        return tuple(
            Table(item, self.source, self.lines, key, index) for index, item in enumerate(value)
        )


class _Inner(Table):
    """A table in braces: its errors stand where its key stands."""

    def __init__(self, values: Mapping[str, Any], outer: Table, key: str) -> None:
        super().__init__(values, outer.source, outer.lines, outer.kind, outer.index)
        self.called = outer.called
        self._key = key

    def refuse(self, sentence: str, key: str = "") -> NoReturn:  # noqa: ARG002 - the outer key's line
        """Raise an error that says where, under the outer key."""
        line = self.lines.of(self.kind, self.index, self._key)
        place = [self.source, f"line {line}" if line else "", self.called]
        where = ", ".join(word for word in place if word)
        raise ProcedureError(f"{where}: {self._key}: {sentence}")
