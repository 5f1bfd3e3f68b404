"""Having something rung at an exact moment by processes of their own; see :mod:`.ringer`."""

import os
import subprocess
import sys
import tempfile
from contextlib import ExitStack
from types import TracebackType
from typing import IO, Self

from bellmouth.learning import ringer

__all__ = ["Ringing"]

_CLOSE_S = 5.0
#: More ringers than this only wake in vain.
_MOST = 4


class Ringing:
    """Starts the ringers, and ends them when it is closed; also a context manager.

    ``out`` is where the texts go, standard error when left out. Use it from one thread at a time.

    Raises
    ------
    OSError
        If they cannot be started.
    """

    def __init__(self, out: int | IO[bytes] | None = None) -> None:
        self._count = 0
        self._given: dict[int, float] = {}
        self._ringers: list[subprocess.Popen[bytes]] = []
        self._told, told = os.pipe()
        with ExitStack() as opened:
            opened.callback(os.close, told)
            claims = opened.enter_context(tempfile.TemporaryFile())
            for place in _places():
                self._ringers.append(
                    subprocess.Popen(  # noqa: S603 - this very interpreter
                        # Without site and package it is there at once.
                        [sys.executable, "-I", "-S", ringer.__file__, str(claims.fileno()), place],
                        stdin=subprocess.PIPE,
                        stdout=told,
                        stderr=out,
                        pass_fds=[claims.fileno()],
                        # In a session of its own Linux gives it a share beside the busy ones.
                        start_new_session=True,
                    )
                )

    def place(self, text: str, at_s: float) -> int | None:
        """Have a text written at a time of the monotonic clock; its token, None if it cannot. [s]

        A time that is over means now.
        """
        self._count += 1
        told = self._tell(f"{at_s:.6f} {self._count} {text.encode().hex()}")
        return self._count if told else None

    def withdraw(self, token: int) -> None:
        """Take one back; too late where it has rung."""
        self._tell(f"- {token}")

    def close(self) -> dict[int, float]:
        """End the ringers; gives when each token was rung. [s]"""
        if not self._ringers:
            return self._given
        for one in self._ringers:
            try:
                one.communicate(timeout=_CLOSE_S)
            except subprocess.TimeoutExpired:
                one.kill()
                one.communicate()
        self._ringers = []
        with os.fdopen(self._told, encoding="ascii") as told:
            for line in told:
                token, at = line.split()
                self._given[int(token)] = float(at)
        return self._given

    def _tell(self, line: str) -> bool:
        """Whether anybody hears it."""
        heard = False
        for one in self._ringers:
            try:
                os.write(one.stdin.fileno(), f"{line}\n".encode())  # type: ignore[union-attr]
            except BrokenPipeError:
                continue
            heard = True
        return heard

    def __enter__(self) -> Self:
        """The same."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """See :meth:`close`."""
        self.close()


def _places() -> list[str]:
    """The processors that ringers keep to; one ringer anywhere where that cannot be told."""
    allowed = getattr(os, "sched_getaffinity", None)
    if allowed is None:
        return ["-1"]
    return [str(place) for place in sorted(allowed(0))[:_MOST]]
