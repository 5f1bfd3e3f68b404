"""A header cell ``name [unit]``: which parameter it is and how its values are converted."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from pathlib import Path

from bellmouth.errors import RecordingError
from bellmouth.reading import text_of, toml_in
from bellmouth.recording.names import nearest, table
from bellmouth.recording.units import conversion, spellings

__all__ = ["Column", "Header", "read_header", "read_mapping"]

#: More columns than any recording has; to look for a name near each of a million takes hours.
MOST_COLUMNS = 5_000
_CELL = re.compile(
    r"^\s*(?P<name>.*?)\s*(?:\[(?P<unit>[^\[\]]*)\]|\((?P<round>[^()]*)\))?\s*$", re.DOTALL
)


@dataclass(frozen=True)
class Column:
    """A column that is used: where it stands, what it is, own = factor * cell + offset."""

    index: int
    title: str
    name: str
    unit: str
    factor: float = 1.0
    offset: float = 0.0


@dataclass(frozen=True)
class Header:
    """The time column, the parameters, and the titles that no parameter claims."""

    time: Column
    columns: tuple[Column, ...]
    unmapped: tuple[str, ...]
    notes: tuple[str, ...]


def read_mapping(mapping: str | Path | Mapping[str, str] | None) -> Mapping[str, str]:
    """Their header to ours, from a table already read or a TOML file with ``[columns]``.

    Raises
    ------
    RecordingError
        Where the file cannot be read, is not TOML, or holds anything but ``[columns]`` with text.
    """
    if mapping is None:
        return {}
    if isinstance(mapping, Mapping):
        return mapping
    path = Path(mapping)
    try:
        document = toml_in(text_of(path))
    except OSError as error:
        raise RecordingError(f"{path.name or path}: cannot be read ({error.strerror}).") from error
    except ValueError as error:
        raise RecordingError(f"{path.name}: not a TOML file ({error}).") from error
    columns = document.get("columns")
    if set(document) != {"columns"} or not isinstance(columns, dict):
        raise RecordingError(
            f"{path.name}: a mapping holds one table, [columns], with lines such as "
            '"Their Header" = "mass_air_flow [g/s]".'
        )
    for theirs, ours in columns.items():
        if not isinstance(ours, str):
            raise RecordingError(
                f'{path.name}, column "{theirs}": {ours!r} is not text. '
                'Write a name and a unit, such as "mass_air_flow [g/s]".'
            )
    return columns


def read_header(
    titles: Sequence[str], mapping: Mapping[str, str], source: str, line: int | None = 1
) -> Header:
    """Which columns are used and how.

    Raises
    ------
    RecordingError
        Where the time is missing, a parameter has no or an unknown unit or stands twice.
    """
    where = source if line is None else f"{source}, line {line}"
    if line is not None and len(titles) > MOST_COLUMNS:
        raise RecordingError(
            f"{where}: {len(titles)} columns, where a recording has a few dozen. "
            "Is the table turned on its side? Write one row a moment, one column a parameter."
        )
    _refuse_strangers(titles, mapping, where)
    time: Column | None = None
    columns: dict[str, Column] = {}
    unmapped: list[str] = []
    notes: list[str] = []
    for index, title in enumerate(titles):
        column = _column(index, title, mapping.get(title.strip(), title), where)
        if column is None:
            if title.strip():
                unmapped.append(title.strip())
                notes.append(_unclaimed(title.strip()))
        elif column.name == "time":
            if time is not None:
                raise RecordingError(f'{where}, column "{title}": a second time column.')
            time = column
        elif column.name in columns:
            raise RecordingError(
                f'{where}, column "{title}": {column.name} stands twice, first as '
                f'"{columns[column.name].title}". Leave one.'
            )
        else:
            columns[column.name] = column
    if time is None:
        raise RecordingError(f'{where}: no time column. The first column is "time [s]".')
    if not columns:
        raise RecordingError(
            f"{where}: no column is a parameter known here. Name them after the standard, such as "
            '"engine_speed [rpm]", or give a mapping.'
        )
    return Header(time, tuple(columns.values()), tuple(unmapped), tuple(notes))


def _refuse_strangers(titles: Sequence[str], mapping: Mapping[str, str], where: str) -> None:
    """A mapping that names a column which is not there is a typing mistake."""
    there = [title.strip() for title in titles]
    for title in mapping:
        if title not in there:
            near = get_close_matches(title, there, 1)
            hint = f' Did you mean "{near[0]}"?' if near else ""
            raise RecordingError(
                f'{where}: the mapping names the column "{title}", which is not there.{hint}'
            )


def _column(index: int, title: str, ours: str, where: str) -> Column | None:
    found = _named(ours)
    if found is None:
        return None
    name, unit = found
    if name == "time":
        own = "s"
    elif name in table():
        own = table()[name].unit
    elif ours is not title:
        guess = nearest(name)
        hint = f" Did you mean {guess}?" if guess else ""
        raise RecordingError(
            f'{where}, column "{title}": mapped to "{ours}", which is no parameter\'s name.{hint}'
        )
    else:
        return None
    if unit is None or not unit.strip():
        raise RecordingError(
            f'{where}, column "{title}": no unit. Write it as "{name} [{own}]", or with '
            f"another of {spellings(own)}."
        )
    pair = conversion(unit.strip(), own)
    if pair is None:
        raise RecordingError(
            f'{where}, column "{title}": unknown unit "{unit.strip()}". Use {spellings(own)}.'
        )
    return Column(index, title.strip(), name, own, *pair)


@lru_cache(maxsize=1000)
def _named(ours: str) -> tuple[str, str | None] | None:
    """Name and unit that a title holds; the same come again with every recording."""
    match = _CELL.match(ours)
    if match is None:
        return None
    unit = match["unit"] if match["round"] is None else match["round"]
    return re.sub(r"[\s-]+", "_", match["name"].strip().strip('"').lower()), unit


def _unclaimed(title: str) -> str:
    match = _CELL.match(title)
    name = re.sub(r"[\s-]+", "_", match["name"].lower()) if match else title
    guess = nearest(name)
    hint = f" (did you mean {guess}?)" if guess else ""
    return f'Column "{title}" is no parameter known here and was left out{hint}.'
