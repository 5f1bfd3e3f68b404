"""Say what takes so long: a line on stderr, only where somebody watches, only after a second."""

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["waiting"]

_PATIENCE_S = 1.0


@contextmanager
def waiting(message: str, patience_s: float = _PATIENCE_S) -> Iterator[None]:
    """Show ``message`` with a moving mark while the block runs, once it has run ``patience_s``."""
    if not sys.stderr.isatty():
        yield
        return
    done = threading.Event()
    shown = threading.Thread(target=_show_after, args=(message, patience_s, done), daemon=True)
    shown.start()
    try:
        yield
    finally:
        done.set()
        shown.join()


def _show_after(message: str, patience_s: float, done: threading.Event) -> None:
    if done.wait(patience_s):
        return
    from rich.console import Console  # noqa: PLC0415 - only a slow command pays for it

    with Console(stderr=True).status(message):
        done.wait()
