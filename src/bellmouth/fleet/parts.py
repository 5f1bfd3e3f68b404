"""The findings on disk: a folder of Parquet parts, each written whole or not at all.

A part that is there is done; what is in no part is still to do. Beside the folder a small file
says which survey it belongs to, so that nothing else is ever mixed in or overwritten.
"""

import hashlib
import json
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from bellmouth import __version__
from bellmouth.errors import BellmouthError
from bellmouth.fleet.rows import SCHEMA

__all__ = ["Findings", "open_findings"]


@dataclass(frozen=True)
class Findings:
    """A folder of parts under way."""

    folder: Path

    @property
    def about(self) -> Path:
        """The file that says which survey this is."""
        return self.folder.with_name(self.folder.name + ".survey.json")

    def done(self) -> set[tuple[str, str]]:
        """Recordings that are in a part, by path and mark."""
        paths = sorted(self.folder.glob("part-*.parquet"))
        if not paths:
            return set()
        told = pl.read_parquet(paths, columns=["recording", "mark"])
        return set(told.iter_rows())

    def add(self, rows: Iterable[Mapping[str, Any]]) -> Path:
        """Write rows as one part, named by what they are about."""
        frame = pl.DataFrame(list(rows), schema=dict(SCHEMA), orient="row")
        keys = "\n".join(f"{a}\t{b}" for a, b in frame.select("recording", "mark").iter_rows())
        path = self.folder / f"part-{hashlib.sha256(keys.encode()).hexdigest()[:16]}.parquet"
        fresh = path.with_suffix(f".{os.getpid()}.new")
        frame.write_parquet(fresh)
        fresh.replace(path)
        return path

    def finish(self) -> None:
        """Mark the survey as complete."""
        told = json.loads(self.about.read_text("utf-8"))
        _write_json(self.about, {**told, "complete": True})

    def read(self) -> pl.DataFrame:
        """All findings, in order of recording."""
        paths = sorted(self.folder.glob("part-*.parquet"))
        if not paths:
            return pl.DataFrame(schema=dict(SCHEMA))
        return pl.read_parquet(paths).sort("recording", "car")


def open_findings(folder: str | Path, cars_digest: str, given: Sequence[str]) -> Findings:
    """Begin a survey's findings, or take one up that was broken off.

    Raises
    ------
    BellmouthError
        If something else lies there, if it is complete, if it belongs to another table of
        cars or another version, or if nothing can be written there.
    """
    found = Findings(Path(folder))
    mine = {"software": __version__, "cars": cars_digest, "recordings": sorted(given)}
    if not found.folder.exists():
        try:
            found.folder.mkdir(parents=True)
            _write_json(found.about, {**mine, "complete": False})
        except OSError as error:
            raise BellmouthError(
                f"{folder}: findings cannot be kept there ({error.strerror}). Give another --out."
            ) from error
        return found
    if not found.about.is_file():
        raise BellmouthError(
            f"{folder}: something is there already, and it is no survey of mine. Give another "
            "--out; nothing was overwritten."
        )
    told = json.loads(found.about.read_text("utf-8"))
    if told.get("complete"):
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


def _write_json(path: Path, told: Mapping[str, Any]) -> None:
    fresh = path.with_suffix(".new")
    fresh.write_text(json.dumps(told, indent=2) + "\n", "utf-8")
    fresh.replace(path)
