"""Recordings of a car that one of them cannot be compared with, as it holds the same samples.

Somebody who sends the good recording's file again, for a new job, has one; a part of it is one, and
the same in another format. Most likely another file was meant, and the page says so; the recording
is judged all the same.
"""

from collections.abc import Callable, Iterable
from contextlib import suppress

from bellmouth.errors import BookError
from bellmouth.recording.series import Recording

__all__ = ["apart", "the_same"]


def apart(read: Callable[[int], Recording], chosen: int, others: Iterable[int]) -> list[int]:
    """Those of the others that share no sample with the chosen one; ``read`` fetches an entry's."""
    kept = list(others)
    same = the_same(read, chosen, kept)
    return [one for one in kept if one not in same]


def the_same(read: Callable[[int], Recording], chosen: int, others: Iterable[int]) -> list[int]:
    """Those that hold the same samples, all or some."""
    from bellmouth.finding.suitable import share_samples  # noqa: PLC0415 - only judging loads it

    found: list[int] = []
    if not (kept := list(others)):
        return found
    mine = read(chosen)
    for one in kept:
        # One whose file is lost is told of where somebody compares with it.
        with suppress(BookError):
            if share_samples(mine, read(one)):
                found.append(one)
    return found
