"""What Dask leaves behind is swept up with the test that left it."""

import gc
import socket
import sys
import time
import warnings
from collections.abc import Iterator

import pytest

_WITHIN_S = 2.0


def _open() -> list[socket.socket]:
    """Sockets of this process that are open to others; an event loop has some to itself."""
    every = [one for one in gc.get_objects() if issubclass(type(one), socket.socket)]
    return [one for one in every if one.fileno() >= 0 and one.family == socket.AF_INET]


@pytest.fixture(autouse=True)
def swept() -> Iterator[None]:
    """Dask leaves sockets to the garbage collector, which would blame whatever test runs then.

    Its threads are given a moment to let go; what it holds on to all the same is closed. What we
    leave open ourselves is told as ever, at the moment it is let go of.
    """
    before = {id(one) for one in _open()}
    yield
    if "distributed" not in sys.modules:
        return
    until_s = time.monotonic() + _WITHIN_S
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        gc.collect()
        while any(id(one) not in before for one in _open()) and time.monotonic() < until_s:
            time.sleep(0.05)
            gc.collect()
        for one in _open():
            if id(one) not in before:
                one.close()
