"""The thread behind a practice wire: waits for characters or for time, and can be stopped."""

import os
import select
import threading
import tty
from abc import ABC, abstractmethod
from contextlib import suppress
from types import TracebackType
from typing import Self

from bellmouth.errors import BusError

__all__ = ["CHUNK", "Serving", "Terminal", "read_some", "write_some"]

CHUNK = 4096


class Terminal:
    """A pseudo-terminal; ``path`` is what a client opens, ``end`` our side of it."""

    def __init__(self) -> None:
        # Our own hold on the far side keeps it there while no client has it open.
        self.end, self._far = os.openpty()
        tty.setraw(self._far)
        os.set_blocking(self.end, False)
        self.path = os.ttyname(self._far)

    def close(self) -> None:
        """Hang up."""
        os.close(self.end)
        os.close(self._far)


def read_some(end: int) -> bytes | None:
    """What has come; empty where the other side has gone, None where nothing has come."""
    try:
        return os.read(end, CHUNK)
    except BlockingIOError:
        return None
    except OSError:
        return b""


def write_some(end: int, data: bytearray) -> bool:
    """Write what fits and take it off ``data``; False where the other side has gone."""
    try:
        written = os.write(end, data)
    except BlockingIOError:
        return True
    except OSError:
        return False
    del data[:written]
    return True


class Serving(ABC):
    """One thread that serves a wire until closed; also a context manager.

    ``interface`` is what a client is told; ``failure`` says why the wire serves no longer. A
    subclass opens its wire and then calls :meth:`_begin`; its hooks run under :attr:`_lock`.
    """

    def __init__(self, name: str, interface: str) -> None:
        self.interface = interface
        self.failure: BusError | None = None
        self._name = name
        self._lock = threading.RLock()
        self._stopping = False
        self._wake_r, self._wake_w = os.pipe()
        self._thread: threading.Thread | None = None

    @abstractmethod
    def _wanted(self) -> tuple[list[int], list[int], float | None]:
        """Ends to read from, ends to write to, and for how long to wait. [s]"""

    @abstractmethod
    def _serve(self, ready: list[int]) -> None:
        """Do what is due; ``ready`` ends have something to be read."""

    @abstractmethod
    def _release(self) -> None:
        """Let go of the wire."""

    def _begin(self) -> None:
        self._thread = threading.Thread(target=self._run, name=self._name, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._stopping:
            with self._lock:
                readers, writers, wait_s = self._wanted()
            # select, not epoll: it waits in microseconds, and a fast car answers in a few hundred.
            try:
                ready, _, _ = select.select([self._wake_r, *readers], writers, [], wait_s)
            except (OSError, ValueError):
                continue  # unplugged in between
            if self._wake_r in ready:
                os.read(self._wake_r, CHUNK)
            with self._lock:
                self._serve(ready)

    def _wake(self) -> None:
        with suppress(OSError):
            os.write(self._wake_w, b"!")

    def close(self) -> None:
        """Stop serving and let go of the wire."""
        self._stopping = True
        if self._thread is not None:
            self._wake()
            self._thread.join()
            self._thread = None
        if self._wake_r >= 0:
            with self._lock:
                self._release()
            os.close(self._wake_r)
            os.close(self._wake_w)
            self._wake_r = self._wake_w = -1

    def __enter__(self) -> Self:
        """The server itself, serving."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop serving."""
        self.close()
