"""Files at addresses that fsspec knows: in an archive, on another machine, or simply here.

``zip://monday/a1.csv::fleet.zip`` is a file inside an archive, ``simplecache::s3://…`` one that is
kept near; what stands between two ``::`` is an address of its own.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import Any

__all__ = ["changed", "file_name", "is_address", "near", "own_path", "same_file", "whole_address"]

_BLOCK = 1 << 20
# What file systems call the moment of the last change, or what stands for it.
_CHANGED = (
    "mtime", "LastModified", "last_modified", "modified", "updated", "etag", "ETag", "CRC",
    "date_time", "created",
)  # fmt: skip


def is_address(path: str) -> bool:
    """Whether it is more than a path on this machine."""
    return "://" in path


def own_path(path: str) -> PurePosixPath:
    """Path of the file itself, without the archive that it is inside of or a cache before it."""
    parts = path.split("::")
    return PurePosixPath(next((part for part in parts if is_address(part)), parts[0]))


def file_name(path: str) -> str:
    """The name of a file, at an address inside an archive, too."""
    return own_path(path).name


def whole_address(given: str, told: str) -> str:
    """The address of a file from that of the place it was found in: what is inside an archive
    (``zip://…::s3://…``) or behind a cache (``simplecache::s3://…``) needs the rest of it, too."""
    first, chained, rest = given.partition("::")
    if not chained:
        return told
    return f"{told}::{rest}" if is_address(first) else f"{first}::{told}"


def same_file(one: str, other: str) -> bool:
    """Whether two addresses are of one file, the archives around it told by their names."""
    ends = [PurePosixPath(path.split("::")[-1]).name for path in (one, other)]
    return own_path(one) == own_path(other) and ends[0] == ends[1]


def changed(facts: Mapping[str, Any]) -> str:
    """A mark that changes when a file does, from what its file system tells of it."""
    told = next((facts[key] for key in _CHANGED if facts.get(key)), "")
    return f"{facts['size']}-{told}"


@contextmanager
def near(path: str) -> Iterator[Path]:
    """A file on this machine: itself, or a copy for as long as it is needed.

    Raises
    ------
    OSError, ImportError, ValueError
        As the file system at the address has it.
    """
    if not is_address(path):
        yield Path(path)
        return
    import fsspec  # noqa: PLC0415 - only addresses need it

    with TemporaryDirectory() as folder:
        copy = Path(folder) / file_name(path)
        with fsspec.open(path, "rb") as there, copy.open("wb") as here:
            while block := there.read(_BLOCK):
                here.write(block)
        yield copy
