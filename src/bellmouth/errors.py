"""The one family of errors a user can cause. Faces print the text and exit with code 2.

``BellmouthError`` (a ``ValueError``) -> ``RecordingError``, ``CarError``, ``FindingError``,
``BookError``, ``BusError``, ``ProcedureError``; and how a value is shown in the sentence of any.
An ``OSError`` is told by its file's name: `told_of` makes that the name a person gave.
"""

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = [
    "BellmouthError",
    "BookError",
    "BusError",
    "CarError",
    "FindingError",
    "ProcedureError",
    "RecordingError",
    "shown",
    "told_of",
]

_SHOWN = 40  # characters
# How libraries that are not written in Python say which error the system gave.
_NUMBER = re.compile(r"\(os error (\d+)\)")


class BellmouthError(ValueError):
    """Bad input: one sentence that says what, where and what to do."""


class RecordingError(BellmouthError):
    """A recording that cannot be read: bad file, header, unit or cell."""


class CarError(BellmouthError):
    """A car description that cannot be used: unknown key, impossible value."""


class FindingError(BellmouthError):
    """A question that this recording of this car cannot be asked."""


class BusError(BellmouthError):
    """A car that cannot be talked to: no adapter, wrong channel, no answer, no permission."""


class ProcedureError(BellmouthError):
    """A learning procedure that cannot be used: unknown signal, window that cannot be met."""


class BookError(BellmouthError):
    """A book that cannot be opened, read or written as asked, and what to do about it."""


def shown(value: object) -> str:
    """A value for an error's sentence: as its owner wrote it, near enough to find it again."""
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."


@contextmanager
def told_of(path: Path) -> Iterator[None]:
    """A block that writes a file beside its place: what the disk refuses is told of the place.

    Raises
    ------
    OSError
        As the block does, with ``path`` as its file.
    """
    try:
        yield
    except OSError as error:
        number, found = error.errno, _NUMBER.search(str(error))
        if number is None and found is not None:
            number = int(found[1])
        reason = error.strerror or (os.strerror(number) if number else str(error))
        raise OSError(number, reason, str(path)) from error
