"""A header cell ``name [unit]``: which parameter it is and how its values are converted."""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from pathlib import Path

from bellmouth.errors import RecordingError
from bellmouth.reading import text_of, toml_in
from bellmouth.recording.names import called, in_our_way, nearest, table
from bellmouth.recording.units import conversion, spellings

__all__ = ["Claim", "Column", "Header", "UnitsRow", "claim", "read_header", "read_mapping"]

#: More columns than any recording has; to look for a name near each of a million takes hours.
MOST_COLUMNS = 5_000
# What counts or names a state has no unit to be told.
_NO_UNIT = frozenset({"code", "count"})
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
        _refuse_no_text(mapping, "mapping")
        return mapping
    if not isinstance(mapping, str | Path):
        raise RecordingError(
            f"mapping: {type(mapping).__name__} is none. Give a table from their header to ours, "
            "or the name of its file."
        )
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
    _refuse_no_text(columns, path.name)
    return columns


def _refuse_no_text(columns: Mapping[str, object], source: str) -> None:
    for theirs, ours in columns.items():
        if not isinstance(ours, str) or not isinstance(theirs, str):
            wrong = theirs if isinstance(ours, str) else ours
            raise RecordingError(
                f'{source}, column "{theirs}": {wrong!r} is not text. '
                'Write a name and a unit, such as "mass_air_flow [g/s]".'
            )


@dataclass(frozen=True)
class UnitsRow:
    """A row below the names that holds their units, and its line."""

    cells: Sequence[str]
    line: int


def read_header(
    titles: Sequence[str],
    mapping: Mapping[str, str],
    source: str,
    line: int | None = 1,
    *,
    units: UnitsRow | None = None,
    clocks: Collection[int] = (),
) -> Header:
    """Which columns are used and how.

    A column that has our name, or is mapped to it, goes before one that is only called so too.
    ``units`` may stand in a row of their own; ``clocks`` are the places of columns that hold times
    of day, which need none.

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
    place = _Place(source, where, units, clocks)
    claims = [claim(title, mapping, where) for title in titles]
    ours = {one.name for one in claims if one is not None and not one.other}
    # Seconds go before what the clock on the wall showed.
    counted = any(one is not None and one.name == "time" and one.unit for one in claims)
    columns: dict[str, Column] = {}
    left_out: dict[str, str] = {}
    for index, (title, one) in enumerate(zip(titles, claims, strict=True)):
        if one is None:
            if title.strip():
                left_out[title.strip()] = _unclaimed(title.strip())
            continue
        if one.other and (one.name in ours or (one.name == "time" and counted and not one.unit)):
            left_out[title.strip()] = (
                f'Column "{title.strip()}" was left out, as another one is the {one.name}.'
            )
            continue
        found = _column(index, title, one, place)
        if isinstance(found, str):
            left_out[title.strip()] = found
            continue
        if found.name in columns:
            raise RecordingError(_twice(where, title, columns[found.name]))
        columns[found.name] = found
    time = columns.pop("time", None)
    if time is None:
        raise RecordingError(f'{where}: no time column. The first column is "time [s]".')
    if not columns:
        told = next((text for text in left_out.values() if "it has no unit" in text), "")
        raise RecordingError(
            f"{where}: no column is a parameter known here. Name them after the standard, such as "
            '"engine_speed [rpm]", or give a mapping.' + (f" {told}" if told else "")
        )
    unmapped = [title.strip() for title in titles if title.strip() in left_out]
    notes = tuple(left_out[title] for title in unmapped)
    return Header(time, tuple(columns.values()), tuple(unmapped), notes)


def _twice(where: str, title: str, first: Column) -> str:
    if first.name == "time":
        return f'{where}, column "{title}": a second time column.'
    return (
        f'{where}, column "{title}": {first.name} stands twice, first as "{first.title}". '
        "Leave one."
    )


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


@dataclass(frozen=True)
class Claim:
    """What a title claims: our name, the unit in brackets, whether it is an ``other`` name."""

    name: str
    unit: str | None
    other: bool = False

    @property
    def own(self) -> str:
        """The unit that its values are converted to."""
        return "s" if self.name == "time" else table()[self.name].unit


@dataclass(frozen=True)
class _Place:
    """Where a header stands, and what else tells units."""

    source: str
    where: str
    units: UnitsRow | None
    clocks: Collection[int]


def claim(title: str, mapping: Mapping[str, str], where: str) -> Claim | None:
    """Which parameter, or the time, a title is; None where nobody claims it.

    Raises
    ------
    RecordingError
        Where it is mapped to what is no parameter.
    """
    ours = mapping.get(title.strip(), title)
    found = _claimed(ours)
    if ours is title or (found is not None and not found.other):
        return found
    name = in_our_way(ours.partition("[")[0])
    guess = nearest(name)
    hint = f" Did you mean {guess}?" if guess else ""
    raise RecordingError(
        f'{where}, column "{title}": mapped to "{ours}", which is no parameter\'s name.{hint}'
    )


@lru_cache(maxsize=1000)
def _claimed(ours: str) -> Claim | None:
    """What a title claims; the same come again with every recording."""
    match = _CELL.match(ours)
    if match is None:
        return None
    unit = match["unit"] if match["round"] is None else match["round"]
    name = in_our_way(match["name"].strip().strip('"'))
    if name == "time" or name in table():
        return Claim(name, unit)
    also = called(name)
    return None if also is None else Claim(also, unit, other=True)


def _column(index: int, title: str, one: Claim, place: _Place) -> Column | str:
    """The column, or why one that is only called so too is left out."""
    units = place.units
    below = units.cells[index].strip(" []()") if units and index < len(units.cells) else ""
    unit = (one.unit or "").strip()
    if one.name == "time" and index in place.clocks:
        unit = unit if conversion(unit, "s") else "s"
        below = ""
    elif unit and below and conversion(below, one.own) != conversion(unit, one.own):
        line = units.line if units else 0
        raise RecordingError(
            f'{place.source}, line {line}, column "{title.strip()}": its unit here is "{below}". '
            "Leave the right one."
        )
    unit = unit or below
    pair = conversion(unit or (one.own if one.own in _NO_UNIT else ""), one.own)
    if pair is not None:
        return Column(index, title.strip(), one.name, one.own, *pair)
    if one.other and one.name != "time":
        lack = f'its unit "{unit}" is unknown' if unit else "it has no unit"
        return (
            f'Column "{title.strip()}" was left out as {one.name}: {lack}. '
            f"Use {spellings(one.own)}."
        )
    if unit:
        raise RecordingError(
            f'{place.where}, column "{title}": unknown unit "{unit}". Use {spellings(one.own)}.'
        )
    raise RecordingError(
        f'{place.where}, column "{title}": no unit. Write it as "{one.name} [{one.own}]", or with '
        f"another of {spellings(one.own)}."
    )


def _unclaimed(title: str) -> str:
    match = _CELL.match(title)
    name = in_our_way(match["name"]) if match else title
    guess = nearest(name)
    hint = f" (did you mean {guess}?)" if guess else ""
    return f'Column "{title}" is no parameter known here and was left out{hint}.'
