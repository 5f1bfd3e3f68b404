"""Read a car's archive, all of it or nothing: everything is checked before anything is written."""

import errno
import hashlib
import json
import re
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, fields
from datetime import datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from bellmouth.book import tables
from bellmouth.book.archive import CAR, FORMAT, MANIFEST, VERSION, digest_of
from bellmouth.book.entries import Entry, insert, is_whole
from bellmouth.book.known import known_document
from bellmouth.book.opening import writing
from bellmouth.book.shapes import refuse_other_shape
from bellmouth.book.standing import known_of, work_out
from bellmouth.book.store import History, Store, row_of
from bellmouth.errors import BellmouthError, BookError

__all__ = ["import_car"]

_FILE = re.compile(r"(recordings/[0-9a-f]{64}\.parquet|photos/[0-9a-f]{64}\.(jpg|png|webp))")
_LARGEST = 4 * 2**30  # bytes of one archive, unpacked; more is a mistake or a trap
_CAR = 2**28  # of the history alone, which takes several times its room when it is read
_LARGEST_MANIFEST = 16 * 2**20


@dataclass(frozen=True)
class _Archive:
    history: History
    files: Mapping[str, bytes]


def import_car(store: Store, path: str | Path) -> History:
    """Add the car of an archive to the book, exactly as it was exported.

    Raises
    ------
    BookError
        If it is no archive, cut short, changed, of a newer format, or of a car that the book has
        already or whose name another car has. The book is then as it was.
    """
    path = Path(path)
    with store.told(), _refusing_damage(path):
        archive = _read(path)
    with store.told(), writing(store.engine) as connection:
        _refuse_known(store, connection, archive.history)
        for name, content in archive.files.items():
            store.files.put(name, content)
        history = archive.history
        row = {"uuid": history.uuid, "made_at": history.made_at}
        done = connection.execute(sa.insert(tables.car).values(row))
        car_id = row_of(done)
        insert(connection, car_id, history.entries)
        work_out(connection, car_id, history.entries)
    return archive.history


@contextmanager
def _refusing_damage(path: Path) -> Iterator[None]:
    """All that a zip file with a changed byte was seen to raise becomes one sentence."""
    why = "it is no archive, was changed or cut short"
    try:
        yield
    except (zipfile.BadZipFile, zlib.error, EOFError) as error:
        raise _damaged(path, why) from error
    except RuntimeError as error:  # a method of packing that nobody has, or a password asked for
        raise _damaged(path, why) from error
    except OSError as error:
        # A place before the file's start, or bytes that another method cannot unpack. Whatever
        # else the system says is about the disk, not about what the file holds.
        if error.errno not in {None, errno.EINVAL}:
            raise
        raise _damaged(path, why) from error


def _damaged(path: Path, why: str) -> BookError:
    return BookError(f"{path.name}: {why}. Export it again; nothing was imported.")


def _refuse_known(store: Store, connection: sa.Connection, history: History) -> None:
    same = sa.select(tables.car.c.id).where(tables.car.c.uuid == history.uuid)
    if connection.execute(same).scalar() is not None:
        raise BookError(f"{history.name}: this car is in the book already; nothing was imported.")
    if store.row(connection, history.name) is not None:
        raise BookError(
            f"{history.name}: another car of this book has that name. Give that one a new name "
            "(bellmouth book car NAME --rename NEW), then import again."
        )


def _read(path: Path) -> _Archive:
    with zipfile.ZipFile(path) as archive:
        if MANIFEST not in archive.namelist():
            raise _damaged(path, "is no archive of a car")
        if archive.getinfo(MANIFEST).file_size > _LARGEST_MANIFEST:
            raise _damaged(path, "its manifest is larger than any")
        manifest = _json(path, archive.read(MANIFEST))
        _refuse_newer(path, manifest)
        if manifest.get("sha256") != digest_of(manifest):
            raise _damaged(path, "its manifest was changed")
        listed = _listed(path, archive, manifest)
        content = {name: archive.read(name) for name in listed}
    for name, said in listed.items():
        if hashlib.sha256(content[name]).hexdigest() != said["sha256"]:
            raise _damaged(path, f"{name} was changed")
    history = _history(path, _json(path, content.pop(CAR)))
    named = {name for entry in history.entries for name in entry.files}
    if named != set(content):
        raise _damaged(path, "its files are not those that its entries name")
    return _Archive(history, content)


def _json(path: Path, raw: bytes) -> dict[str, Any]:
    try:
        found = json.loads(raw)
    except (ValueError, RecursionError) as error:
        raise _damaged(path, "holds a JSON document that was changed") from error
    if not isinstance(found, dict):
        raise _damaged(path, "holds a JSON document that was changed")
    return found


def _refuse_newer(path: Path, manifest: Mapping[str, Any]) -> None:
    version = manifest.get("version")
    if manifest.get("format") != FORMAT or not isinstance(version, int):
        raise _damaged(path, "is no archive of a car")
    if version > VERSION:
        raise BookError(
            f"{path.name}: was written by a newer Bellmouth (format {version}, this one knows "
            f"{VERSION}). Update Bellmouth; nothing was imported."
        )


def _listed(
    path: Path, archive: zipfile.ZipFile, manifest: Mapping[str, Any]
) -> Mapping[str, Mapping[str, Any]]:
    listed = manifest.get("files")
    if not isinstance(listed, dict) or CAR not in listed:
        raise _damaged(path, "its manifest was changed")
    names = archive.namelist()
    if len(names) != len(set(names)) or set(names) != {MANIFEST, *listed}:
        raise _damaged(path, "holds other files than its manifest lists")
    for name, said in listed.items():
        if not isinstance(said, dict) or not {"bytes", "sha256"} <= said.keys():
            raise _damaged(path, "its manifest was changed")
        if name != CAR and not _FILE.fullmatch(name):
            raise _damaged(path, f"holds a file that no car has ({name[:40]})")
        if archive.getinfo(name).file_size != said["bytes"]:
            raise _damaged(path, f"{name} was changed")
    if sum(said["bytes"] for said in listed.values()) > _LARGEST or listed[CAR]["bytes"] > _CAR:
        raise BookError(f"{path.name}: is larger than any car's history; nothing was imported.")
    return listed


def _history(path: Path, car: Mapping[str, Any]) -> History:
    try:
        entries = tuple(_entry(one) for one in car["entries"])
        _refuse_dangling(entries)
        for entry in entries:
            refuse_other_shape(entry.kind, entry.document)
            if entry.kind == "car":
                _refuse_odd_car(entry.document)
        _refuse_odd_names(car, known_of(entries).document)
        datetime.fromisoformat(car["made_at"])
        return History(car["name"], car["uuid"], car["made_at"], entries)
    except (AttributeError, KeyError, TypeError, ValueError, IndexError) as error:
        why = f" ({error})" if isinstance(error, BellmouthError) else ""
        raise _damaged(path, f"its history is not one that a book wrote{why}") from error


def _refuse_odd_car(known: Mapping[str, Any]) -> None:
    """The same door as for a car that is typed in; the number may be masked."""
    said = {key: value for key, value in known.items() if key not in ("name", "identification")}
    typed = known_document(known["name"], **said)
    for key in ("name", "kind", "keep_until"):
        if typed.get(key) != known.get(key):
            raise ValueError(key)
    known.get("identification", "").encode()


def _refuse_odd_names(car: Mapping[str, Any], known: Mapping[str, Any]) -> None:
    if not re.fullmatch("[0-9a-f]{32}", car["uuid"]) or car["name"] != known["name"]:
        raise ValueError(car["name"])


def _entry(said: Mapping[str, Any]) -> Entry:
    if set(said) != {field.name for field in fields(Entry)} or not is_whole(said):
        raise ValueError(said)
    if not isinstance(said["document"], dict) or not isinstance(said["files"], list):
        raise TypeError(said)
    if not all(isinstance(name, str) for name in said["files"]):
        raise TypeError(said)
    return Entry(**{**said, "files": tuple(said["files"])})


def _refuse_dangling(entries: tuple[Entry, ...]) -> None:
    """Each entry may name those before it, and its job. A number may be left out: a book from which
    entries were removed is handed over with what is left."""
    before: dict[int, str] = {}
    for entry in entries:
        if entry.number <= max(before, default=0):
            raise ValueError(entry.number)
        if entry.corrects is not None and before.get(entry.corrects) != entry.kind:
            raise ValueError(entry.number)
        before[entry.number] = entry.kind
        if entry.job is not None and before.get(entry.job) != "job":
            raise ValueError(entry.number)
