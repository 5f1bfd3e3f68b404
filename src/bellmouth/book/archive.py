"""A whole car as one open archive: a zip file of JSON, Parquet and pictures.

``manifest.json`` names every other file with its size and SHA-256, and ends with the hash of
itself: damage and careless changes are found, a forger who counts all hashes anew is not.
``car.json`` holds the history. Nothing in it depends on when it was written, so that a car that
was exported, imported and exported again gives the same bytes.
"""

import hashlib
import io
import json
import os
import zipfile
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from bellmouth.book.entries import Entry, canonical
from bellmouth.book.masking import masked_in
from bellmouth.book.store import History, Store
from bellmouth.errors import BookError, told_of

__all__ = ["CAR", "FORMAT", "MANIFEST", "VERSION", "digest_of", "export_car", "identifications"]

FORMAT = "bellmouth car archive"
VERSION = 1
MANIFEST, CAR = "manifest.json", "car.json"
# The earliest time a zip file can hold: times would make two exports of one car differ.
_TIME = (1980, 1, 1, 0, 0, 0)


def export_car(
    store: Store,
    name: str,
    path: str | Path,
    *,
    with_identification: bool = False,
    overwrite: bool = False,
) -> tuple[str, ...]:
    """Write a car's archive; the names of what is in it.

    The identification number is masked wherever it stands, unless it is asked for.

    Raises
    ------
    BookError
        If the file is there already, or one of the car's own is missing or damaged.
    """
    path = Path(path)
    if path.exists() and not overwrite:
        raise BookError(f"{path.name}: is there already. Choose another name, or remove it.")
    history = store.history(name)
    with store.told():
        content = _content(store, history, masked=not with_identification)
        _write(path, content)
    return tuple(content)


def identifications(entries: tuple[Entry, ...]) -> set[str]:
    """Every identification number that the car has ever had in this book."""
    known = (entry.document.get("identification") for entry in entries if entry.kind == "car")
    return {str(number) for number in known if number}


def digest_of(manifest: Mapping[str, Any]) -> str:
    """Hash of a manifest without its own hash."""
    rest = {key: value for key, value in manifest.items() if key != "sha256"}
    return hashlib.sha256(canonical(rest).encode()).hexdigest()


def _content(store: Store, history: History, *, masked: bool) -> dict[str, bytes]:
    numbers = identifications(history.entries) if masked else set()

    def hidden(said: Any) -> Any:
        return masked_in(said, numbers)

    car: dict[str, Any] = {
        "name": hidden(history.name),
        "uuid": history.uuid,
        "made_at": history.made_at,
        # What is not said by anybody stays: days, hashes and the names of files are the book's own.
        "entries": [
            {**asdict(entry), "document": hidden(entry.document)} for entry in history.entries
        ],
    }
    files = {name for entry in history.entries for name in entry.files}
    content = {CAR: _text(car)} | {name: store.files.read(name) for name in sorted(files)}
    manifest: dict[str, Any] = {
        "format": FORMAT,
        "version": VERSION,
        "masked": masked,
        "files": {
            name: {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
            for name, data in content.items()
        },
    }
    manifest["sha256"] = digest_of(manifest)
    return {MANIFEST: _text(manifest), **content}


def _text(document: Mapping[str, Any]) -> bytes:
    return (json.dumps(document, indent=1, ensure_ascii=True, allow_nan=False) + "\n").encode()


def _write(path: Path, content: Mapping[str, bytes]) -> None:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, data in content.items():
            part = zipfile.ZipInfo(name, _TIME)
            # Parquet and pictures are compressed already.
            packed = zipfile.ZIP_DEFLATED if name.endswith(".json") else zipfile.ZIP_STORED
            part.compress_type, part.external_attr = packed, 0o644 << 16
            archive.writestr(part, data)
    unfinished = path.with_name(f".{path.name}.{os.getpid()}")
    with told_of(path):
        try:
            with unfinished.open("wb") as file:
                file.write(buffer.getvalue())
                file.flush()
                os.fsync(file.fileno())
            unfinished.replace(path)
        finally:
            unfinished.unlink(missing_ok=True)
