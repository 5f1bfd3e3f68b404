"""Having something rung at an exact moment by a process of its own; see :mod:`.ringer`."""

import subprocess
import sys
from types import TracebackType
from typing import IO, Self

from bellmouth.learning import ringer

__all__ = ["Ringing"]

_CLOSE_S = 5.0


class Ringing:
    """Starts the ringer, and ends it when it is closed; also a context manager.

    ``out`` is where the texts go, standard error when left out. Use it from one thread at a time.
    """

    def __init__(self, out: int | IO[bytes] | None = None) -> None:
        self._count = 0
        self._given: dict[int, float] = {}
        self._process = subprocess.Popen(  # noqa: S603 - this very interpreter
            # Without site and package it is there at once.
            [sys.executable, "-I", "-S", ringer.__file__],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=out,
            text=True,
            # In a session of its own Linux gives it a share of its own beside the busy ones.
            start_new_session=True,
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
        """End the ringer; gives when each token was rung. [s]"""
        if self._process.poll() is None or not self._given:
            try:
                told, _ = self._process.communicate(timeout=_CLOSE_S)
            except (subprocess.TimeoutExpired, BrokenPipeError):
                self._process.kill()
                told, _ = self._process.communicate()
            except ValueError:
                return self._given  # closed before
            lines = [line.split() for line in (told or "").splitlines()]
            self._given.update((int(token), float(at)) for token, at in lines)
        return self._given

    def _tell(self, line: str) -> bool:
        pipe = self._process.stdin
        if pipe is None or pipe.closed:
            return False
        try:
            pipe.write(line + "\n")
            pipe.flush()
        except (BrokenPipeError, ValueError):
            return False
        return True

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
