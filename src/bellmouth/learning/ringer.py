"""A process that does nothing but ring in time; run by its path, and so without its package.

It shares neither interpreter nor session with whoever draws, and so not their turn on the
processor. Several are started, each on a processor of its own, and told the same; the first that
runs gives a ring, so that one processor that is held up makes no ring late.

Lines come in on standard input, ``at token text`` with a time of the monotonic clock in seconds
and the text in hexadecimal, or ``- token`` to take one back; the text goes to standard error at
its time, and ``token at`` to standard output. It ends with its input.
"""

import ctypes
import os
import platform
import select
import struct
import sys
import time
from contextlib import suppress

__all__ = ["SLICE_NS", "Ringer", "main", "short_slice"]

#: The shortest turn that Linux gives. [ns]
SLICE_NS = 100_000
# Numbers of the call by machine, and the record that it reads: sched_setattr(2), from memory;
# a test reads the slice back with sched_getattr(2).
_CALLS = {"x86_64": 314, "aarch64": 274, "riscv64": 274}
_RECORD = struct.Struct("=IIQiIQQQ")
_RESET_ON_FORK = 0x01
#: The system may be late with a long sleep by a thousandth of it, so the last bit is slept apart.
#: [s]
_FINE_S = 0.02
_IDLE_S = 3600.0


class Ringer:
    """Writes texts at their times; ``claims`` is a file on which ringers agree who rings.

    ``source``, ``told`` and ``out`` are file descriptors: lines, what was given, texts.
    """

    def __init__(self, claims: int, source: int = 0, told: int = 1, out: int = 2) -> None:
        import fcntl  # noqa: PLC0415 - not on every system that asks for short turns

        self._claims, self._source, self._told, self._out = claims, source, told, out
        self._lock, self._mine = fcntl.lockf, fcntl.LOCK_EX | fcntl.LOCK_NB
        self._planned: dict[int, tuple[float, bytes]] = {}
        self._rest = b""

    def run(self) -> None:
        """Follow the lines until there are no more; rings that are still to come are dropped."""
        while True:
            planned = ((at_s, token) for token, (at_s, _) in self._planned.items())
            at_s, token = min(planned, default=(time.monotonic() + _IDLE_S, 0))
            left_s = at_s - time.monotonic()
            if left_s <= 0.0:
                self._ring(token)
                continue
            wait_s = left_s - _FINE_S if left_s > 2.0 * _FINE_S else left_s
            if select.select([self._source], [], [], wait_s)[0] and not self._listen():
                return

    def _listen(self) -> bool:
        """Take in the lines that have come; whether there may be more."""
        read = os.read(self._source, 65_536)
        *lines, self._rest = (self._rest + read).split(b"\n")
        for line in lines:
            at, token, *text = line.decode().split()
            if at == "-":
                self._planned.pop(int(token), None)
            else:
                self._planned[int(token)] = (float(at), bytes.fromhex("".join(text)))
        return bool(read)

    def _ring(self, token: int) -> None:
        _, text = self._planned.pop(token)
        try:
            # Byte ``token`` of the file belongs to the ringer that is first, until it ends.
            self._lock(self._claims, self._mine, 1, token)
        except OSError:
            return
        os.write(self._out, text)
        # Nobody has to listen to what was given.
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


def main() -> None:
    """Ring as standard input says: ``ringer.py CLAIMS PLACE``, the file and the processor."""
    claims, place = int(sys.argv[1]), int(sys.argv[2])
    if place >= 0:
        with suppress(OSError):
            os.sched_setaffinity(0, {place})
    short_slice()
    os.set_blocking(1, False)
    Ringer(claims).run()


if __name__ == "__main__":
    main()
