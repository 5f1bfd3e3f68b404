"""A scheduler that goes away and comes back, with its workers, in the middle of a survey."""

import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import pytest
from polars.testing import assert_frame_equal

from bellmouth.fleet import survey as module
from bellmouth.fleet.survey import Progress, survey
from tests.fleet.cars import make_fleet
from tests.ports import kept_port


def _until_it_answers(port: int) -> None:
    """A process of its own takes long to start on a machine that is busy."""
    for _ in range(600):
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1.0):
            return
        time.sleep(0.1)


@contextmanager
def _cluster(port: int) -> Iterator[None]:
    """A scheduler and two workers in processes of their own; gone without a word at the end."""
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    lines = [
        ["scheduler", "--host", "127.0.0.1", "--port", f"{port}", "--no-dashboard"],
        *[
            ["worker", f"tcp://127.0.0.1:{port}", "--host", "127.0.0.1", "--no-dashboard",
             "--nthreads", "1", "--no-nanny"]
        ] * 2,
    ]  # fmt: skip
    every = [
        subprocess.Popen([sys.executable, "-m", "dask", *line], **quiet)  # type: ignore[call-overload]
        for line in lines
    ]
    try:
        _until_it_answers(port)
        yield
    finally:
        for one in every:
            one.kill()
        for one in every:
            one.wait()


# Dask leaves its connections to the dead scheduler to the garbage collector.
@pytest.mark.filterwarnings("ignore:unclosed <socket:ResourceWarning")
def test_a_scheduler_that_comes_back_is_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recordings, cars = make_fleet(tmp_path)
    alone = survey([str(recordings)], cars, tmp_path / "alone", workers=0).read()
    monkeypatch.setattr(module, "_BUNDLE_MOST", 1)
    port = kept_port()
    seen: list[int] = []
    with ExitStack() as second:
        first = ExitStack()
        first.enter_context(_cluster(port))

        def replace_it(now: Progress) -> None:
            seen.append(now.done)
            if len(seen) == 1:
                first.close()
                second.enter_context(_cluster(port))

        with first:
            found = survey(
                [str(recordings)], cars, tmp_path / "f",
                scheduler=f"tcp://127.0.0.1:{port}", tell=replace_it,
            )  # fmt: skip
    assert seen == [1, 2, 3]
    # Every recording is there once: what was done before was not done again.
    assert_frame_equal(found.read(), alone, check_exact=True)
