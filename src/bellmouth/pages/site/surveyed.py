"""A survey that runs while a page looks on: its inputs laid out under names of our own."""

import csv
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bellmouth.book.book import Book
from bellmouth.book.entries import effective
from bellmouth.book.standing import complaint_of, known_of
from bellmouth.errors import BellmouthError
from bellmouth.pages.site.families import growth_of
from bellmouth.pages.site.sent_cars import owner_of_upload
from bellmouth.pages.site.telling import fit_to_tell

if TYPE_CHECKING:
    import polars as pl

    from bellmouth.finding.family import Family
    from bellmouth.fleet.survey import Progress

__all__ = ["Input", "Surveyed", "of_book", "of_table"]


@dataclass(frozen=True)
class Input:
    """A car of a survey: what people call it, its row of the table, and its recordings' files
    with what people call those."""

    name: str
    row: Mapping[str, Any]
    recordings: Sequence[tuple[str, Path]] = ()


@dataclass
class Surveyed:
    """One survey in a thread of its own."""

    folder: Path
    inputs: Sequence[Input]
    done: int = 0
    total: int = 0
    trouble: str = ""
    table: "pl.DataFrame | None" = None
    _stopping: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin; returns at once."""
        self.total = sum(len(one.recordings) for one in self.inputs)
        self._thread = threading.Thread(target=self.work, name="survey", daemon=True)
        self._thread.start()

    @property
    def over(self) -> bool:
        """Whether it came to an end, good or bad."""
        return self.table is not None or bool(self.trouble)

    def close(self) -> None:
        """End it; what was judged stays on disk."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join(timeout=30.0)

    def families(self) -> list[str]:
        """Names of the engine families that the cars' table tells."""
        return sorted({str(told) for one in self.inputs if (told := one.row.get("family"))})

    def family(self, name: str, book: Book | None = None) -> "Family":
        """Learn what the cars of a family, or all of them, have in common.

        With a book, also how fast its cars of that kind get dirty.

        Raises
        ------
        BellmouthError
            If there is no such family, or too little is known of it.
        """
        from bellmouth.fleet.family import learn_family  # noqa: PLC0415 - only learning loads it
        from bellmouth.fleet.family_files import examples_of, family_name  # noqa: PLC0415
        from bellmouth.fleet.inputs import read_cars  # noqa: PLC0415

        cars = read_cars(self.folder / "cars.csv")
        chosen = family_name(cars, name or None)
        paths = [str(path) for one in self.inputs for _, path in one.recordings]
        examples, _ = examples_of(paths, cars, chosen)
        growth = None if book is None else growth_of(book, chosen)
        return learn_family(examples, chosen, growth=growth).family

    def work(self) -> None:
        """Judge every recording in this thread, and put people's names back into the table."""
        from bellmouth.fleet.survey import survey  # noqa: PLC0415 - only a survey loads it

        try:
            given = self._lay_out()
            findings = survey(
                given, self.folder / "cars.csv", self.folder / "found", workers=0,
                tell=self._tell,
            )  # fmt: skip
            self.table = self._named(findings.read())
        except BellmouthError as error:
            self.trouble = fit_to_tell(str(error), self.folder.parent)
        except Exception:
            # Without an end nobody could begin another; the thread's own end is in the log.
            self.trouble = "Something broke here, which is our fault. Begin another survey."
            raise

    def _tell(self, progress: "Progress") -> None:
        if self._stopping.is_set():
            raise BellmouthError("The survey was ended before it was through.")
        self.done, self.total = progress.done, progress.total

    def _lay_out(self) -> list[str]:
        """The table of cars, and each recording in a folder of its car's number."""
        keys = list(dict.fromkeys(key for one in self.inputs for key in one.row))
        with (self.folder / "cars.csv").open("w", encoding="utf-8", newline="") as file:
            table = csv.DictWriter(file, ["car", *keys])
            table.writeheader()
            table.writerows({"car": f"c{n}", **one.row} for n, one in enumerate(self.inputs))
        if not any(one.recordings for one in self.inputs):
            raise BellmouthError("No recording belongs to any of the cars. Check the file names.")
        return [str(path) for one in self.inputs for _, path in one.recordings]

    def _named(self, table: "pl.DataFrame") -> "pl.DataFrame":
        import polars as pl  # noqa: PLC0415

        cars = {f"c{n}": one.name for n, one in enumerate(self.inputs)}
        files = {str(path): name for one in self.inputs for name, path in one.recordings}
        why = [
            _called(error, path, files.get(path))
            for error, path in zip(table["error"], table["recording"], strict=True)
        ]
        return table.with_columns(
            pl.col("car").replace(cars), pl.col("recording").replace(files),
            pl.Series("error", why, pl.String),
        )  # fmt: skip


def _called(error: str | None, path: str, name: str | None) -> str | None:
    """Why there is no finding, of the file by the name that it was sent under."""
    ours = Path(path).name
    if error is None or name is None or not error.startswith(ours):
        return error
    return name + error.removeprefix(ours)


def of_book(book: Book, folder: Path) -> list[Input]:
    """Every car of a book that has a recording, with its newest one; practice cars left out."""
    found: list[Input] = []
    for standing in book.cars(limit=10_000):
        entries = book.history(standing.name).entries
        known = known_of(entries).document
        recorded = [one for one in effective(entries) if one.kind == "recording"]
        if not recorded or known.get("kind") == "practice":
            continue
        path = _place(folder, len(found), 0, ".parquet")
        path.write_bytes(book.files.read(recorded[-1].files[0]))
        row = {**_flat(known["car"]), "family": known.get("kind", "")}
        # The finding in the book was told it, too.
        if complaint := complaint_of(entries, recorded[-1].job):
            row["complaint"] = complaint
        found.append(Input(standing.name, row, [(f"entry {recorded[-1].number}", path)]))
    if not found:
        raise BellmouthError("No car of the book has a recording yet, practice cars left out.")
    return found


def of_table(table: Path, files: Iterable[tuple[str, Path]], folder: Path) -> list[Input]:
    """The cars of a table that was sent, each with the files that begin with its name."""
    from bellmouth.fleet.inputs import read_cars, table_of_cars  # noqa: PLC0415

    names = frozenset(read_cars(table).identities)
    rows = table_of_cars(table).rows(named=True)
    owned: dict[str, list[tuple[str, Path]]] = {}
    place = {row["car"]: number for number, row in enumerate(rows)}
    for name, path in files:
        owner = owner_of_upload(name, names)
        mine = owned.setdefault(owner, [])
        ending = "".join(path.suffixes[-2:]) if path.suffix == ".gz" else path.suffix
        mine.append((name, path.rename(_place(folder, place[owner], len(mine), ending))))
    return [
        Input(row["car"], {k: v for k, v in row.items() if k != "car"}, owned.get(row["car"], []))
        for row in rows
    ]


def _place(folder: Path, car: int, number: int, ending: str) -> Path:
    there = folder / "recordings" / f"car=c{car}"
    there.mkdir(parents=True, exist_ok=True)
    return there / f"r{number}{ending}"


def _flat(car: Mapping[str, Any]) -> dict[str, Any]:
    """A car as a row: a value with its standard deviation as two cells."""
    row: dict[str, Any] = {}
    for key, value in car.items():
        if isinstance(value, Mapping):
            row[key] = value["value"]
            if value.get("sd") is not None:
                row[f"{key}_sd"] = value["sd"]
        elif key not in {"name", "complaint"}:
            row[key] = value
    return row
