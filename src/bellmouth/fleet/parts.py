"""The findings on disk: a folder of Parquet parts, each written whole or not at all.

A part that is there is done; what is in no part is still to do. Beside the folder a small file
says which survey it belongs to, so that nothing else is ever mixed in or overwritten.
"""

import hashlib
import json
import os
import sys
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from bellmouth import __version__
from bellmouth.errors import BellmouthError, told_of
from bellmouth.fleet.addresses import is_address
from bellmouth.fleet.rows import SCHEMA
from bellmouth.recording.parquet_file import DamagedFileError, table_in

if sys.platform != "win32":
    import fcntl

__all__ = ["Findings", "open_findings"]


@dataclass(frozen=True)
class Findings:
    """A folder of parts under way."""

    folder: Path

    @property
    def about(self) -> Path:
        """The file that says which survey this is."""
        return self.folder.with_name(self.folder.name + ".survey.json")

    @property
    def complete(self) -> bool:
        """Whether the survey came to its end."""
        return bool(json.loads(self.about.read_text("utf-8")).get("complete"))

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep others from adding to these findings at the same time.

        Raises
        ------
        BellmouthError
            If another survey is at it.
        """
        if sys.platform == "win32":  # where a folder cannot be locked
            yield
            return
        place = os.open(self.folder, os.O_RDONLY)
        try:
            fcntl.flock(place, fcntl.LOCK_EX | fcntl.LOCK_NB)
            yield
        except BlockingIOError as error:
            raise BellmouthError(
                f"{self.folder}: another survey is at it. Wait for that one, or give another --out."
            ) from error
        finally:
            os.close(place)

    def take_up(self, wanted: Collection[tuple[str, str]]) -> set[tuple[str, str]]:
        """What is done of what is wanted, by path and mark. Rows of what is not wanted any more (a
        recording that changed since, a car that has one now) are taken out of their parts, and
        what a kill left half written is removed.

        Raises
        ------
        BellmouthError
            If a part is damaged.
        """
        for left in self.folder.glob("part-*.new"):
            left.unlink()
        done: set[tuple[str, str]] = set()
        for path in self._parts():
            part = _read(path)
            keys = list(part.select("recording", "mark").iter_rows())
            good = [key in wanted and key not in done for key in keys]
            if not all(good):
                if any(good):
                    self.add(part.filter(pl.Series(good)).iter_rows(named=True))
                path.unlink()
            done.update(key for key, kept in zip(keys, good, strict=True) if kept)
        return done

    def add(self, rows: Iterable[Mapping[str, Any]]) -> Path:
        """Write rows as one part, named by what they are about."""
        frame = pl.DataFrame(list(rows), schema=dict(SCHEMA), orient="row")
        keys = "\n".join(f"{a}\t{b}" for a, b in frame.select("recording", "mark").iter_rows())
        path = self.folder / f"part-{hashlib.sha256(keys.encode()).hexdigest()[:16]}.parquet"
        fresh = path.with_suffix(f".{os.getpid()}.new")
        with told_of(path):
            frame.write_parquet(fresh)
            fresh.replace(path)
        return path

    def finish(self) -> None:
        """Mark the survey as complete."""
        told = json.loads(self.about.read_text("utf-8"))
        _write_json(self.about, {**told, "complete": True})

    def read(self) -> pl.DataFrame:
        """All findings, in order of recording."""
        parts = [_read(path) for path in self._parts()]
        return pl.concat([pl.DataFrame(schema=dict(SCHEMA)), *parts]).sort("recording", "car")

    def _parts(self) -> list[Path]:
        return sorted(self.folder.glob("part-*.parquet"))


def _read(path: Path) -> pl.DataFrame:
    try:
        part = table_in(path.read_bytes())
        if "metering" not in part.columns:  # written before rows had it
            part = part.with_columns(pl.lit(None, pl.String).alias("metering"))
        return part.select(*SCHEMA)
    except (DamagedFileError, pl.exceptions.PolarsError, OSError) as error:
        raise BellmouthError(
            f"{path}: is damaged. Remove this part and run the same survey again: what was in it "
            "is judged anew, the rest is kept."
        ) from error


def open_findings(
    folder: str | Path, cars_digest: str, given: Sequence[str], *, again: bool = False
) -> Findings:
    """Begin a survey's findings, or take one up that was broken off.

    ``again`` takes one that is complete as it is, to be looked at again.

    Raises
    ------
    BellmouthError
        If something else lies there, if it is complete, if it belongs to another table of
        cars or another version, or if nothing can be written there.
    """
    if is_address(str(folder)):
        raise BellmouthError(f"{folder}: findings are kept on this machine. Give --out a folder.")
    found = Findings(Path(folder))
    mine = {"software": __version__, "cars": cars_digest, "recordings": sorted(given)}
    if not found.folder.exists():
        try:
            found.folder.parent.mkdir(parents=True, exist_ok=True)
            # First of all: a folder without it, after a kill, would be nobody's.
            _write_json(found.about, {**mine, "complete": False})
            found.folder.mkdir()
        except OSError as error:
            raise BellmouthError(
                f"{folder}: findings cannot be kept there ({error.strerror}). Give another --out."
            ) from error
        return found
    told = _about(found)
    if told.get("complete") and not again:
        raise BellmouthError(
            f"{folder}: this survey is complete already. Give another --out for a new one; "
            "nothing was overwritten."
        )
    other = [key for key, value in mine.items() if told.get(key) != value]
    if other:
        raise BellmouthError(
            f"{folder}: a survey with other {' and '.join(other)} was begun there. Take that one "
            "up again, or give another --out; nothing was overwritten."
        )
    return found


def _about(found: Findings) -> Mapping[str, Any]:
    try:
        told = json.loads(found.about.read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        told = None
    if not isinstance(told, dict) or not found.folder.is_dir():
        raise BellmouthError(
            f"{found.folder}: something is there already, and it is no survey of mine. Give "
            "another --out; nothing was overwritten."
        )
    return told


def _write_json(path: Path, told: Mapping[str, Any]) -> None:
    fresh = path.with_suffix(".new")
    with told_of(path):
        fresh.write_text(json.dumps(told, indent=2) + "\n", "utf-8")
        fresh.replace(path)
