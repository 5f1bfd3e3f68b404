"""Good recordings that a recording cannot be compared with, as it holds the same samples.

Somebody who sends the good recording's file again, for a new job, has one: most likely another file
was meant, and the page says so; the recording is judged all the same.
"""

from collections.abc import Iterable
from contextlib import suppress

from bellmouth.errors import BookError
from bellmouth.finding.suitable import share_samples
from bellmouth.pages.site.garage import Garage, Visit

__all__ = ["apart", "the_same"]


def apart(garage: Garage, visit: Visit, recording: int, others: Iterable[int]) -> list[int]:
    """Those of the others, by their entries, that share no sample with the recording."""
    kept = list(others)
    same = the_same(garage, visit, recording, kept)
    return [one for one in kept if one not in same]


def the_same(garage: Garage, visit: Visit, recording: int, others: Iterable[int]) -> list[int]:
    """Those that hold the same samples, all or some."""
    found: list[int] = []
    if not (kept := list(others)):
        return found
    mine = garage.book.recording(visit.name, recording)
    for one in kept:
        # One whose file is lost is told of where somebody compares with it.
        with suppress(BookError):
            if share_samples(mine, garage.book.recording(visit.name, one)):
                found.append(one)
    return found
