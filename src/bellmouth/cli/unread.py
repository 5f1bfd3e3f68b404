"""Whoever reads our output may go away before its end, as ``| head`` does; the command goes on.

A report is still written, a capture goes on, and the exit code stays the command's answer: ended by
the pipe, ``check`` and ``prove`` left with the code of a *no*.
"""

import io
import os
import stat
import sys
from typing import Any, BinaryIO, cast

__all__ = ["write_on"]


class _Unread(io.FileIO):
    """A pipe; what is written after its reader went away is lost, as nobody wanted it."""

    def write(self, data: Any, /) -> int:
        """Write bytes; gives how many were taken."""
        try:
            return super().write(data)
        except BrokenPipeError:
            return memoryview(data).nbytes


def write_on() -> None:
    """Let nothing end for the reader of standard output or standard error being gone."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if isinstance(stream, io.TextIOWrapper) and _is_pipe(stream):
            setattr(sys, name, _unread(stream))


def _is_pipe(stream: io.TextIOWrapper) -> bool:
    try:
        mode = os.fstat(stream.fileno()).st_mode
    except (OSError, ValueError):
        return False  # no file behind it, or a closed one
    return stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode)


def _unread(stream: io.TextIOWrapper) -> io.TextIOWrapper:
    """The same stream, whose reader may go away."""
    stream.flush()
    raw = _Unread(stream.fileno(), "wb", closefd=False)
    through = stream.write_through  # each piece at once, as PYTHONUNBUFFERED asks
    return io.TextIOWrapper(
        cast("BinaryIO", raw) if through else io.BufferedWriter(raw),
        encoding=stream.encoding,
        errors=stream.errors,
        line_buffering=stream.line_buffering,
        write_through=through,
    )
