"""A job's stages, worked out from the book alone: what is done, and what comes next."""

import base64
import binascii
from collections.abc import Sequence
from dataclasses import dataclass

from bellmouth.book.entries import Entry, effective
from bellmouth.errors import BellmouthError

__all__ = ["STAGES", "Stage", "key_of", "name_of", "of_job", "stages_of"]

#: The stages in order: path, name, and the kinds of entry that say it is done.
STAGES = (
    ("record", "Record", ("recording",)),
    ("finding", "Finding", ("finding",)),
    ("work", "Work", ("work", "card")),
    ("learning", "Learning", ("attempt",)),
    ("proof", "Proof", ("proof",)),
)


@dataclass(frozen=True)
class Stage:
    """One stage as the page shows it; ``state`` is done, now or later."""

    path: str
    name: str
    state: str


def key_of(name: str) -> str:
    """A car's name as a part of an address, whatever characters it has."""
    return base64.urlsafe_b64encode(name.encode()).decode().rstrip("=")


def name_of(key: str) -> str:
    """The name behind a part of an address.

    Raises
    ------
    BellmouthError
        If it is none.
    """
    try:
        return base64.urlsafe_b64decode(key + "=" * (-len(key) % 4)).decode()
    except (ValueError, binascii.Error) as error:
        raise BellmouthError("That address names no car. Go back to the list.") from error


def of_job(entries: Sequence[Entry], job: int | None) -> tuple[Entry, ...]:
    """The entries of a job, corrections taken in, oldest first."""
    return tuple(one for one in effective(entries) if one.job == job)


def stages_of(entries: Sequence[Entry], here: str) -> tuple[Stage, ...]:
    """Every stage of a job with its state; ``here`` is the one that is open."""
    kinds = {one.kind for one in entries}
    return tuple(
        Stage(path, name, "now" if path == here else "done" if kinds & set(told) else "later")
        for path, name, told in STAGES
    )
