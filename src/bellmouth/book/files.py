"""Recordings and photos: files named by the hash of their content, written whole or not at all."""

import errno
import hashlib
import os
import secrets
from pathlib import Path

from bellmouth.errors import BookError, told_of

__all__ = ["Files", "name_for", "write_whole"]

_ROOMS = ("recordings", "photos")


def name_for(room: str, content: bytes, ending: str) -> str:
    """``room/HASH.ending``, with the SHA-256 of the content."""
    return f"{room}/{hashlib.sha256(content).hexdigest()}.{ending}"


def write_whole(path: Path, content: bytes) -> None:
    """Write a file beside and put it in its place: killed at any moment, there is never half of it.

    Raises
    ------
    OSError
        If the disk refuses; what was there before is then still there.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    # With a dot before and an ending of its own: nothing that lists a folder takes it for a file.
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    with told_of(path):
        try:
            with part.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)
    # The name itself must survive a crash before anybody speaks of it.
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


class Files:
    """The files beside a book.

    A name says what is in the file, so the same content is kept once, and a file whose content
    is not what its name says is known to be damaged.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def keep(self, room: str, content: bytes, ending: str) -> str:
        """Write content where it is not kept yet, safe from a crash; its name."""
        name = name_for(room, content, ending)
        if not self.holds(name):
            write_whole(self.folder / name, content)
        return name

    def put(self, name: str, content: bytes) -> None:
        """Write content under the name it must have.

        Raises
        ------
        BookError
            If the name is another content's.
        """
        if self._hash_in(name) != hashlib.sha256(content).hexdigest():
            raise BookError(f"{name}: is damaged: its content is not what its name says.")
        if not self.holds(name):
            write_whole(self.folder / name, content)

    def holds(self, name: str) -> bool:
        """Whether a file is there with its right content."""
        try:
            return bool(self.read(name) or True)
        except BookError:
            return False

    def read(self, name: str) -> bytes:
        """What is in a file.

        Raises
        ------
        BookError
            If it is not there, or damaged.
        """
        path = self.folder / name
        try:
            content = path.read_bytes()
        except FileNotFoundError:
            raise BookError(f"{path}: is missing. Put it back from a backup.") from None
        except OSError as error:
            if error.errno != errno.ENAMETOOLONG:
                raise
            raise BookError(
                "A file that an entry names cannot be there: the book is damaged. Put "
                "back a backup."
            ) from error
        if hashlib.sha256(content).hexdigest() != self._hash_in(name):
            raise BookError(f"{path}: is damaged. Put it back from a backup.")
        return content

    def path(self, name: str) -> Path:
        """Where a file is kept."""
        return self.folder / name

    def names(self) -> set[str]:
        """Names of all files that are there."""
        return {
            f"{room}/{path.name}"
            for room in _ROOMS
            for path in (self.folder / room).glob("*")
            if not path.name.startswith(".")
        }

    def remove(self, name: str) -> None:
        """Remove a file for good; nothing where it is gone already."""
        (self.folder / name).unlink(missing_ok=True)

    @staticmethod
    def _hash_in(name: str) -> str:
        return Path(name).name.partition(".")[0]
