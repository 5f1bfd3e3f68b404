"""Read a whole file that somebody named: as bytes, text, TOML or JSON, whatever lies there."""

import errno
import json
import os
import re
import stat
import tomllib
from pathlib import Path
from typing import Any

__all__ = ["NotTextError", "bytes_of", "json_in", "text_of", "toml_in"]

# No number has more digits; what is longer cannot be reckoned with, nor even be printed.
_DIGITS = 300
_TOO_LONG = f"a number of more than {_DIGITS} digits"
# No file of ours is a tenth as long, and a key of ours has three names. Of a key of many thousands
# tomllib makes every beginning.
_MOST_TOML, _MOST_NAMES = 1 << 18, 100
_NAME = r'(?:[\w-]++|"[^"\n]*+"|\'[^\'\n]*+\')'
_ENDLESS_KEY = re.compile(
    rf"(?:^|[\[{{,])[ \t]*+{_NAME}(?:[ \t]*+\.[ \t]*+{_NAME}){{{_MOST_NAMES}}}+", re.MULTILINE
)
_AT_ONCE = getattr(os, "O_NONBLOCK", 0)


class NotTextError(ValueError):
    """Bytes that are no text in UTF-8."""


def bytes_of(path: Path) -> bytes:
    """What is in the file; a device is none. A pipe is read to its end; one that nobody writes into
    is empty, where to open it as usual would wait for a writer without end.

    Raises
    ------
    OSError, ValueError
        As opening and reading a file do.
    """
    with open(path, "rb", opener=_opened) as file:
        if stat.S_ISCHR(os.fstat(file.fileno()).st_mode):
            # Some have no end: reading one takes all memory there is, and ends other programs too.
            raise OSError(errno.EINVAL, "a device, not a file")
        if _AT_ONCE:
            os.set_blocking(file.fileno(), True)
        return file.read()


def text_of(path: Path) -> str:
    """The file as text in UTF-8, without a byte-order mark, a new line for every end of line.

    Raises
    ------
    OSError, ValueError
        As ``bytes_of``; `NotTextError` where it is no such text.
    """
    try:
        text = bytes_of(path).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise NotTextError("no text in UTF-8") from error
    return text.replace("\r\n", "\n").replace("\r", "\n")


def toml_in(text: str) -> dict[str, Any]:
    """What a text in TOML says.

    Raises
    ------
    ValueError
        Where it is none, is nested without end, is longer than any, or holds a number of hundreds
        of digits.
    """
    if len(text) > _MOST_TOML:
        raise ValueError(f"longer than {_MOST_TOML >> 10} KB, and no such file is")
    if _ENDLESS_KEY.search(text):
        raise ValueError(f"a key of more than {_MOST_NAMES} names")
    try:
        found = tomllib.loads(text)
        _refuse_endless(found)
    except RecursionError as error:
        raise ValueError("nested without end") from error
    except tomllib.TOMLDecodeError:
        raise
    except ValueError as error:  # of thousands of digits Python's own words are for programmers
        raise ValueError(_TOO_LONG) from error
    return found


def json_in(text: str) -> Any:
    """What a text in JSON says.

    Raises
    ------
    ValueError
        As ``toml_in``.
    """
    try:
        return json.loads(text, parse_int=_whole)
    except RecursionError as error:
        raise ValueError("nested without end") from error


def _refuse_endless(value: Any) -> None:
    if isinstance(value, int):
        if abs(value) >= 10**_DIGITS:
            raise ValueError(_TOO_LONG)
        return
    for inner in value.values() if isinstance(value, dict) else value:
        if isinstance(inner, dict | list | int):
            _refuse_endless(inner)


def _whole(digits: str) -> int:
    if len(digits) > _DIGITS:
        raise ValueError(_TOO_LONG)
    return int(digits)


def _opened(name: str, flags: int) -> int:
    return os.open(name, flags | _AT_ONCE)
