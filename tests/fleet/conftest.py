"""What Dask leaves behind is swept up with the test that left it."""

import gc
import sys
import warnings
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def swept() -> Iterator[None]:
    """Dask leaves sockets to the garbage collector, which would blame whatever test runs then.

    What we leave open ourselves is told all the same, at the moment it is let go of.
    """
    yield
    if "distributed" in sys.modules:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ResourceWarning)
            gc.collect()
