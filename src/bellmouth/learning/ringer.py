"""A process that does nothing but ring in time; run by its path, and so without its package.

It shares neither interpreter nor session with whoever draws, and so not their turn on the
processor. A waiter on each processor is woken for every ring, and the first to run gives it: one
processor that is held up makes no ring late.

Lines come in on standard input, ``at token text`` with a time of the monotonic clock in seconds
and the text in hexadecimal, or ``- token`` to take one back; the text goes to standard error at
its time, and ``token at`` to standard output. It ends with its input.
"""

import ctypes
import os
import platform
import struct
import sys
import threading
import time
from collections.abc import Iterable
from contextlib import suppress

__all__ = ["SLICE_NS", "Ringer", "main", "short_slice"]

#: More waiters than this only wake in vain.
_WAITERS = 4
_IDLE_S = 3600.0
#: The shortest turn that Linux gives. [ns]
SLICE_NS = 100_000
# Numbers of the call by machine, and the record that it reads: sched_setattr(2), from memory;
# a test reads the slice back with sched_getattr(2).
_CALLS = {"x86_64": 314, "aarch64": 274, "riscv64": 274}
_RECORD = struct.Struct("=IIQiIQQQ")
_RESET_ON_FORK = 0x01


class Ringer:
    """Writes texts to ``out`` at their times, and what it gave to ``told``; file descriptors."""

    def __init__(self, out: int = 2, told: int = 1) -> None:
        self._out, self._told = out, told
        self._planned: dict[str, tuple[float, bytes]] = {}
        self._over = False
        self._waiters: list[tuple[threading.Thread, threading.Event]] = []

    def run(self, lines: Iterable[str]) -> None:
        """Follow the lines until there are no more; rings that are still to come are dropped."""
        for place in _places():
            woken = threading.Event()
            thread = threading.Thread(target=self._wait, args=(place, woken), daemon=True)
            self._waiters.append((thread, woken))
            thread.start()
        for line in lines:
            at, token, *text = line.split()
            if at == "-":
                self._planned.pop(token, None)
            else:
                self._planned[token] = (float(at), bytes.fromhex("".join(text)))
            self._wake()
        self._over = True
        self._wake()
        for thread, _ in self._waiters:
            thread.join()

    def _wake(self) -> None:
        for _, woken in self._waiters:
            woken.set()

    def _wait(self, place: int | None, woken: threading.Event) -> None:
        if place is not None:
            with suppress(OSError):
                os.sched_setaffinity(0, {place})
        short_slice()
        while not self._over:
            woken.clear()
            # A copy in one step: the others take out and put in meanwhile.
            planned = [(at_s, token) for token, (at_s, _) in list(self._planned.items())]
            at_s, token = min(planned, default=(time.monotonic() + _IDLE_S, ""))
            left_s = at_s - time.monotonic()
            if left_s > 0.0:
                woken.wait(left_s)
            else:
                self._ring(token)

    def _ring(self, token: str) -> None:
        # Taking it out is one step as well, so that each rings once.
        _, text = self._planned.pop(token, (0.0, None))
        if text is None:
            return
        if text:
            os.write(self._out, text)
        with suppress(BlockingIOError, BrokenPipeError):
            os.write(self._told, f"{token} {time.monotonic():.6f}\n".encode())


def short_slice(slice_ns: int = SLICE_NS) -> bool:
    """This thread asks for short turns on the processor; whether the system takes the wish. [ns]

    Who asks for little at a time has an early deadline and may interrupt who asked for more, so it
    is let in soon when it wakes: since Linux 6.12, without privilege. The thread stays an ordinary
    one, with the same nice value; those that it starts ask for nothing.
    """
    call = _CALLS.get(platform.machine())
    if not sys.platform.startswith("linux") or call is None:
        return False
    nice = os.getpriority(os.PRIO_PROCESS, 0)
    record = _RECORD.pack(
        _RECORD.size, os.SCHED_OTHER, _RESET_ON_FORK, nice, 0, slice_ns, 0, 0
    )  # fmt: skip
    system = ctypes.CDLL(None, use_errno=True)
    done: int = system.syscall(
        ctypes.c_long(call), ctypes.c_int(0), ctypes.c_char_p(record), ctypes.c_uint(0)
    )
    return done == 0


def _places() -> list[int | None]:
    """The processors that the waiters keep to; one waiter anywhere where that cannot be told."""
    allowed = getattr(os, "sched_getaffinity", None)
    return [*sorted(allowed(0))[:_WAITERS]] if allowed is not None else [None]


def main() -> None:
    """Ring as standard input says."""
    sys.setswitchinterval(1e-4)
    # Nobody has to listen to what was given.
    os.set_blocking(1, False)
    Ringer().run(sys.stdin)


if __name__ == "__main__":
    main()
