"""Read a whole file that somebody named, whatever kind of file it is."""

import os
from pathlib import Path

__all__ = ["bytes_of", "text_of"]

_AT_ONCE = getattr(os, "O_NONBLOCK", 0)


def bytes_of(path: Path) -> bytes:
    """What is in the file. A pipe is read to its end; one that nobody writes into is empty, where
    to open it as usual would wait for a writer without end.

    Raises
    ------
    OSError, ValueError
        As opening and reading a file do.
    """
    with open(path, "rb", opener=_opened) as file:
        if _AT_ONCE:
            os.set_blocking(file.fileno(), True)
        return file.read()


def text_of(path: Path) -> str:
    """The file as text in UTF-8, without a byte-order mark, a new line for every end of line.

    Raises
    ------
    OSError, ValueError
        As ``bytes_of``; ``UnicodeDecodeError`` where it is no such text.
    """
    text = bytes_of(path).decode("utf-8-sig")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _opened(name: str, flags: int) -> int:
    return os.open(name, flags | _AT_ONCE)
