"""Single keys from a terminal, without waiting for the line to be ended."""

import os
import select
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["terminal_keys"]

_ESCAPE = "\x1b"


@contextmanager
def terminal_keys(told: Callable[[str], None]) -> Iterator[bool]:
    """While entered, ``told`` gets each key from a thread; gives whether there is a terminal.

    An arrow or function key is not a key here; Escape alone is.
    """
    if not sys.stdin.isatty():
        yield False
        return
    import termios  # noqa: PLC0415 - there is none on some systems
    import tty  # noqa: PLC0415

    end = sys.stdin.fileno()
    before = termios.tcgetattr(end)
    done_r, done_w = os.pipe()
    thread = threading.Thread(target=_read, args=(end, done_r, told), name="keys", daemon=True)
    try:
        tty.setcbreak(end)
        thread.start()
        yield True
    finally:
        os.write(done_w, b"!")
        if thread.ident is not None:
            thread.join()
        termios.tcsetattr(end, termios.TCSADRAIN, before)
        os.close(done_r)
        os.close(done_w)


def _read(end: int, done: int, told: Callable[[str], None]) -> None:
    while True:
        ready, _, _ = select.select([end, done], [], [])
        if done in ready:
            return
        typed = os.read(end, 64).decode("utf-8", errors="ignore")
        if not typed:
            return
        if typed.startswith(_ESCAPE) and typed != _ESCAPE:
            continue
        for key in typed:
            told(key)
