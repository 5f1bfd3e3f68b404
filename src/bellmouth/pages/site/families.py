"""Engine families that the page's server knows: files in a folder, each under a number of ours."""

import threading
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bellmouth.book.book import Book
from bellmouth.errors import BellmouthError
from bellmouth.finding.family import Family, Growth, read_family

if TYPE_CHECKING:
    from bellmouth.pages.site.garage import Visit

__all__ = ["Families", "family_of_job", "growth_of"]

_MOST = 1_000_000


class Families:
    """A shelf of family files. Safe to call from several threads."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()

    def all(self) -> dict[int, Family]:
        """Every family that can be read, by number."""
        found = {}
        for path in sorted(self._folder.glob("*.toml")):
            if path.stem.isdigit():
                # One that is damaged, or of another version, takes no other with it.
                with suppress(BellmouthError):
                    found[int(path.stem)] = read_family(path)
        return dict(sorted(found.items()))

    def get(self, number: int) -> Family:
        """One of them.

        Raises
        ------
        BellmouthError
            If there is none of that number.
        """
        path = self._path(number)
        if path is None or not path.is_file():
            raise BellmouthError("There is no such engine family. Go back to the list.")
        return read_family(path)

    def add(self, family: Family) -> int:
        """Keep a family; its number."""
        with self._lock:
            self._folder.mkdir(parents=True, exist_ok=True)
            taken = [int(one.stem) for one in self._folder.glob("*.toml") if one.stem.isdigit()]
            number = 1 + max(taken, default=0)
            family.write(self._folder / f"{number}.toml")
            return number

    def drop(self, number: int) -> None:
        """Keep it no longer; findings that were made with it keep what they need."""
        path = self._path(number)
        if path is not None:
            path.unlink(missing_ok=True)

    def _path(self, number: int) -> Path | None:
        """Where a number has its file; None for one that none can have."""
        return self._folder / f"{int(number)}.toml" if 0 < number < _MOST else None


def family_of_job(visit: "Visit") -> dict[str, Any] | None:
    """Name and file of the family that the newest finding of a car was made with."""
    found = visit.everywhere("finding")
    told = found[-1].document.get("family") if found else None
    return told if isinstance(told, dict) else None


def growth_of(book: Book, kind: str) -> Growth:
    """How fast cars of a kind get dirty, from a book's cars of that kind.

    Raises
    ------
    BellmouthError
        If too few were seen more than once.
    """
    from bellmouth.book.family_growth import learn_growth  # noqa: PLC0415 - only learning loads it
    from bellmouth.book.histories import visits_of_kind  # noqa: PLC0415

    return learn_growth(visits_of_kind(book, kind))
