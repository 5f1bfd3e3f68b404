"""Judging that ends its process on some recordings, as want of memory does."""

import os
from collections.abc import Sequence
from typing import Any

from bellmouth.fleet import rows
from bellmouth.fleet.rows import Task

__all__ = ["rows_of"]


def rows_of(tasks: Sequence[Task]) -> list[dict[str, Any]]:
    """Rows as usual, unless one of the recordings is called deadly."""
    if any("deadly" in task.found.path for task in tasks):
        os._exit(9)
    return rows.rows_of(tasks)
