"""Spread independent work over processes, in order, with progress on standard error."""

import multiprocessing
import sys
from collections.abc import Callable, Sequence
from typing import TypeVar

__all__ = ["spread"]

A = TypeVar("A")
B = TypeVar("B")


def spread(
    work: Callable[[A], B], items: Sequence[A], processes: int = 2, what: str = ""
) -> list[B]:
    """``[work(item) for item in items]`` on several processes.

    ``work`` must be a function of a module. Progress is shown where standard error is a terminal.
    """
    if processes < 2 or len(items) < 2:
        return [work(item) for item in items]
    context = multiprocessing.get_context("forkserver")
    with context.Pool(processes) as pool:
        done = []
        for result in pool.imap(work, items, chunksize=1 + len(items) // (20 * processes)):
            done.append(result)
            if what and sys.stderr.isatty():
                print(f"\r{what} {len(done)}/{len(items)}", end="", file=sys.stderr)
        if what and sys.stderr.isatty():
            print("\r\033[K", end="", file=sys.stderr)
    return done
