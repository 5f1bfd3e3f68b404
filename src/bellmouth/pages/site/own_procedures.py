"""Procedure files of one's own, kept on the page's server beside those that come with it."""

import threading
from pathlib import Path

from bellmouth.book.files import write_whole
from bellmouth.errors import BellmouthError
from bellmouth.learning.packs import packs
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.procedure_reader import procedure_from_text

__all__ = ["OwnProcedures"]

#: How the file of one that was put away ends.
_AWAY = ".away"


class OwnProcedures:
    """A shelf of procedure files, each under its procedure's own name. Safe to call from several
    threads."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()

    def all(self) -> tuple[Procedure, ...]:
        """Every procedure on the shelf that can be read, by name."""
        kept = [_readable(path) for path in sorted(self._folder.glob("*.toml"))]
        return tuple(sorted((one for one in kept if one is not None), key=lambda one: one.name))

    def every(self) -> tuple[Procedure, ...]:
        """Those that come with the program, and then one's own."""
        return (*packs(), *self.all())

    def find(self, name: str) -> Procedure:
        """A procedure by its name, wherever it is from; a path is never one.

        One that was put away is found too: attempts that were made at it are still read.

        Raises
        ------
        BellmouthError
            If there is none.
        """
        found = next((one for one in packs() if one.name == name), None)
        if found is None:
            path = self._path(name)
            if path is None:
                raise BellmouthError("There is no such procedure. Choose one from the list.")
            found = _read(path)
        return found

    def place(self, name: str) -> str:
        """What a procedure is found by without this shelf: its name, or the file of one's own.

        Raises
        ------
        BellmouthError
            If there is none.
        """
        mine = name in {one.name for one in self.all()}
        return str(self._path(name)) if mine else self.find(name).name

    def add(self, content: bytes, checked: Procedure) -> None:
        """Keep a file that was read and found good.

        Raises
        ------
        BellmouthError
            If its name is one of the program's, or was given to a file of other contents before:
            attempts are read by the name.
        """
        if checked.name in {one.name for one in packs()}:
            raise BellmouthError(
                f'"{checked.name}" is a procedure that comes with the program. Give yours another '
                "name."
            )
        with self._lock:
            path = self._path(checked.name)
            if path is not None and path.read_bytes() != content:
                raise BellmouthError(
                    f'"{checked.name}" is the name of another file that was kept here. Give this '
                    f"one another name, such as {checked.name}-2."
                )
            self._folder.mkdir(parents=True, exist_ok=True)
            # The file's own number, never the name: that is whatever somebody wrote.
            kept = self._folder / f"{self._next() if path is None else path.stem}.toml"
            write_whole(kept, content)
            if path is not None and path != kept:
                path.unlink()

    def drop(self, name: str) -> None:
        """Put it away; attempts that were made at it stay in their books and can be read."""
        with self._lock:
            path = self._path(name)
            if path is not None:
                path.replace(path.with_suffix(_AWAY))

    def _path(self, name: str) -> Path | None:
        for path in self._files():
            found = _readable(path)
            if found is not None and found.name == name:
                return path
        return None

    def _files(self) -> list[Path]:
        return [*self._folder.glob("*.toml"), *self._folder.glob(f"*{_AWAY}")]

    def _next(self) -> int:
        return 1 + max((int(one.stem) for one in self._files()), default=0)


def _readable(path: Path) -> Procedure | None:
    """None for a file that is damaged, or was good for another version: no page fails by it."""
    try:
        return _read(path)
    except (BellmouthError, OSError, UnicodeDecodeError):
        return None


def _read(path: Path) -> Procedure:
    return procedure_from_text(path.read_text("utf-8-sig"), path.name)
