"""What a survey is given: recordings as folders, globs or addresses, and the table of their cars.

A recording belongs to the car whose identity is the value of a ``car=`` folder above it, the name
of its own folder, its file's name, or the beginning of that name before ``_``, ``-`` or ``.``; the
longest that fits counts.
"""

import difflib
import hashlib
import os
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any
from urllib.parse import unquote

import polars as pl

from bellmouth.car.description import Car
from bellmouth.car.reader import CAR_KEYS, VALUE_KEYS, car_from_mapping
from bellmouth.errors import BellmouthError, CarError, RecordingError
from bellmouth.fleet.addresses import (
    changed,
    file_name,
    is_address,
    near,
    own_path,
    same_file,
    whole_address,
)
from bellmouth.reading import bytes_of
from bellmouth.recording.parquet_file import table_in

__all__ = [
    "CarTable", "Found", "explain", "find_recordings", "owner_of", "read_cars", "table_of_cars",
]  # fmt: skip

_ENDINGS = (".csv", ".csv.gz", ".parquet")
_TEXTS = ("metering", "complaint", "name")
_OWN_COLUMNS = ("car", "family")
_NAMES = (*_OWN_COLUMNS, "name")


@dataclass(frozen=True)
class Found:
    """A recording's file: where, how big [bytes], and a mark that changes when the file does."""

    path: str
    bytes: int
    mark: str


@dataclass(frozen=True)
class CarTable:
    """Cars by identity: what is known of each, its family, or why its row cannot be used."""

    cars: Mapping[str, Car]
    family: Mapping[str, str]
    refused: Mapping[str, str]
    digest: str

    @property
    def identities(self) -> tuple[str, ...]:
        """Every identity in the table, usable or not."""
        return (*self.cars, *self.refused)


def read_cars(path: str | Path) -> CarTable:
    """Read the table of cars: Parquet or CSV, a row a car, here or at an address.

    Columns are ``car`` (its identity), optionally ``family`` (engine family) and the keys of a car
    file; an empty cell is unknown. ``…_sd`` beside a value is its standard deviation.

    Raises
    ------
    CarError
        If the table cannot be read, has no column ``car``, an unknown column, or an identity
        twice. A row that is wrong by itself is kept as refused, with the reason.
    """
    name = file_name(str(path))
    table = table_of_cars(path)
    cars: dict[str, Car] = {}
    refused: dict[str, str] = {}
    family: dict[str, str] = {}
    for row in table.iter_rows(named=True):
        identity = row["car"]
        family[identity] = str(row.get("family") or "")
        try:
            cars[identity] = car_from_mapping(_values(row), f"{name}, car {identity}")
        except CarError as error:
            refused[identity] = str(error)
    if not cars:
        raise CarError(next(iter(refused.values())))
    digest = hashlib.sha256(table.write_csv().encode()).hexdigest()
    return CarTable(cars, family, refused, digest)


def table_of_cars(path: str | Path) -> pl.DataFrame:
    """The table of cars as it stands there, identities as text; nothing is checked in its cells.

    Raises
    ------
    CarError
        As ``read_cars``.
    """
    name = file_name(str(path))
    table = _table(str(path))
    _check_columns(table, name)
    table = table.with_columns(pl.col("car").cast(pl.String).str.strip_chars().str.normalize("NFC"))
    _check_identities(table, name)
    return table


def _check_columns(table: pl.DataFrame, name: str) -> None:
    """Refuse a table whose columns would be wrong for every car."""
    if "car" not in table.columns:
        raise CarError(f'{name}: no column "car". Give each car a row and an identity in it.')
    known = (*_OWN_COLUMNS, *CAR_KEYS, *(f"{key}_sd" for key in VALUE_KEYS))
    for column in table.columns:
        if column not in known:
            close = difflib.get_close_matches(column, known, n=1, cutoff=0.6)
            hint = f"Did you mean {close[0]}?" if close else f"Keys are {', '.join(CAR_KEYS)}."
            raise CarError(f'{name}, column "{column}": unknown key {column}. {hint}')
    if not table.height:
        raise CarError(f"{name}: no car in it. Give each car a row.")


def _check_identities(table: pl.DataFrame, name: str) -> None:
    """Refuse a table whose rows cannot be told apart."""
    if table["car"].replace("", None).null_count():
        raise CarError(f"{name}: a row has no identity. Fill the column car in every row.")
    twice = table.filter(pl.col("car").is_duplicated())["car"].unique().sort().to_list()
    if twice:
        raise CarError(
            f"{name}: {twice[0]} stands in more than one row"
            f"{f' (and {len(twice) - 1} more)' if len(twice) > 1 else ''}. Keep one row a car."
        )


def _table(path: str) -> pl.DataFrame:
    try:
        with near(path) as here:
            if here.suffix.lower() == ".parquet":
                return table_in(bytes_of(here))
            return _csv(bytes_of(here))
    except Exception as error:
        # An archive or a file system of another machine has errors of its own.
        reason = _why(error)
        if isinstance(error, FileNotFoundError | KeyError):
            reason = "there is no such file"
        elif is_address(path) and not isinstance(error, pl.exceptions.PolarsError):
            reason = _told(error)
        raise CarError(
            f"{path}: cannot be read as a table of cars ({reason}). Give Parquet or CSV."
        ) from error


def _why(error: Exception) -> str:
    """Why a table cannot be read, in a few words."""
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    if isinstance(error, pl.exceptions.NoDataError):
        return "it is empty"
    if "utf-8" in str(error).lower():
        return "its text is not UTF-8: save it as CSV in UTF-8"
    return "damaged"


def _csv(content: bytes) -> pl.DataFrame:
    """A CSV table; with semicolons or tabs between its cells its numbers may have decimal commas,
    as spreadsheets of half of Europe write them."""
    head = content.partition(b"\n")[0]
    mark = next((one for one in (";", "\t") if one.encode() in head), ",")
    return pl.read_csv(
        content,
        infer_schema_length=None,
        separator=mark,
        decimal_comma=mark != ",",
        # A name of digits is a name: as a number 0012 would be 12, and no recording's.
        schema_overrides=dict.fromkeys(_NAMES, pl.String),
    )


def _values(row: Mapping[str, Any]) -> dict[str, Any]:
    """The row as a car file's table: empty cells left out, ``x`` and ``x_sd`` joined."""
    told = {k: _cell(k, v) for k, v in row.items() if k not in _OWN_COLUMNS and v is not None}
    values: dict[str, Any] = {}
    for key, value in told.items():
        if key.endswith("_sd") and key[:-3] in told:
            continue
        spread = told.get(f"{key}_sd")
        values[key] = value if spread is None else {"value": value, "sd": spread}
    return values


def _cell(key: str, value: Any) -> Any:
    """A cell as what it is: one that is no number makes text of its whole column, and a car may
    be called by a number."""
    if key in _TEXTS:
        return str(value)
    if not isinstance(value, str) or "_" in value:
        return value
    for kind in (int, float):
        with suppress(ValueError):
            return kind(value.replace(",", "."))
    return {"true": True, "false": False}.get(value.strip().lower(), value)


def find_recordings(given: Sequence[str], *, leaving_out: Sequence[str | Path] = ()) -> list[Found]:
    """Every recording under the folders, globs, files and addresses given, in order of path.

    ``leaving_out`` are the survey's own files and folders, which may lie among the recordings.

    Raises
    ------
    RecordingError
        If one of them does not exist, cannot be read, or holds no recording.
    """
    found: dict[str, Found] = {}
    own = [_plain(str(one)) for one in leaving_out]
    for one in given:
        here = [file for file in _under(one) if not _within(file.path, own)]
        if not here:
            raise RecordingError(
                f"{one}: no recording there. Give a folder, a glob or a file that ends in "
                f"{', '.join(_ENDINGS)}.{_of_archive(one)}"
            )
        found.update((file.path, file) for file in here)
    return [found[path] for path in sorted(found)]


def _plain(given: str) -> str:
    """An address, or the whole path of a file on this machine."""
    here = given.removeprefix("file://")
    return given if is_address(here) else str(Path(here).absolute())


def _within(path: str, own: Sequence[str]) -> bool:
    if is_address(path):
        return any(same_file(path, one) for one in own if is_address(one))
    return any(Path(one) in (Path(path), *Path(path).parents) for one in own)


def _of_archive(given: str) -> str:
    """How to name what is inside of an archive."""
    return f" Inside an archive: zip://::{given}." if given.lower().endswith(".zip") else ""


def _under(given: str) -> Iterator[Found]:
    from fsspec.core import url_to_fs  # noqa: PLC0415 - only a survey pays for it

    try:
        system, path = url_to_fs(given)
        magic = any(sign in given for sign in "*?[")
        listed: dict[str, Any] = (
            system.glob(path, detail=True) if magic else system.find(path, detail=True)
        )
    except Exception as error:
        # Every file system has errors of its own, and so has a damaged archive.
        raise RecordingError(f"{given}: cannot be opened ({_told(error)}).") from error
    if not magic and not listed and not system.exists(path):
        raise RecordingError(f"{given}: there is no such file or folder.")
    remote = is_address(given) and not given.startswith("file://")
    if not remote and not magic:
        _refuse_closed(given, path)
    for name, facts in listed.items():
        if facts["type"] != "file" or not _may_be_one(name):
            continue
        address = whole_address(given, system.unstrip_protocol(name)) if remote else name
        yield Found(str(address), int(facts["size"]), changed(facts))


def _may_be_one(name: str) -> bool:
    """Whether it is called as recordings are; hidden files are what some program left behind."""
    file = name.rsplit("/", 1)[-1]
    return file.lower().endswith(_ENDINGS) and not file.startswith(".")


def _told(error: Exception) -> str:
    """An error of somebody else's in a few words."""
    return " ".join(str(error).split())[:200] or type(error).__name__


def _refuse_closed(given: str, path: str) -> None:
    """A folder that may not be opened would only look empty."""

    def refuse(error: OSError) -> None:
        raise RecordingError(
            f"{given}: {error.filename} may not be opened ({error.strerror}). Ask for the right to "
            "read it, or leave it out."
        )

    for _ in os.walk(path, onerror=refuse) if Path(path).is_dir() else ():
        pass


def owner_of(path: str, identities: frozenset[str]) -> str | None:
    """The identity of the car that a recording belongs to, ``None`` where no one claims it."""
    # An ä of an Apple's file name is an a with two dots after it.
    parts = PurePosixPath(unicodedata.normalize("NFC", str(own_path(path))))
    # Programs that write such folders put a sign that a path cannot hold as %2F and the like.
    keyed = [unquote(part[4:]) for part in parts.parts if part.startswith("car=")]
    file = parts.name
    ends = [len(file), *(at for at in range(len(file) - 1, 0, -1) if file[at] in "_-.")]
    names = [*keyed, parts.parent.name, *(file[:end] for end in ends)]
    return next((name for name in names if name in identities), None)


def explain(error: BaseException) -> str:
    """Why a recording has no finding, in one line."""
    if isinstance(error, BellmouthError):
        return " ".join(str(error).split())
    return f"{type(error).__name__}: {' '.join(str(error).split())[:200]}"
