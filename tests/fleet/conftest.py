"""What Dask leaves behind is swept up with the test that left it."""

import gc
import socket
import sys
import time
import warnings
from collections.abc import Iterator

import pytest

_WITHIN_S = 30.0


def _open() -> set[int]:
    """Sockets of this process that are open."""
    every = (one for one in gc.get_objects() if issubclass(type(one), socket.socket))
    return {id(one) for one in every if one.fileno() >= 0}


@pytest.fixture(autouse=True)
def swept() -> Iterator[None]:
    """Dask leaves sockets to the garbage collector, which would blame whatever test runs then.

    Its threads hold some for a while longer, so they are waited for. What we leave open ourselves
    is told all the same, at the moment it is let go of.
    """
    before = _open() if "distributed" in sys.modules else set()
    yield
    if "distributed" not in sys.modules:
        return
    until_s = time.monotonic() + _WITHIN_S
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        gc.collect()
        while _open() - before and time.monotonic() < until_s:
            time.sleep(0.05)
            gc.collect()
