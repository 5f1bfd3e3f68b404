"""A process of its own that rings in time."""

import ctypes
import os
import platform
import struct
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from bellmouth.learning.ringer import SLICE_NS, Ringer, short_slice
from bellmouth.learning.ringing import Ringing

LINUX = sys.platform.startswith("linux") and platform.machine() == "x86_64"


def test_each_rings_once_in_order_and_one_taken_back_does_not() -> None:
    with tempfile.TemporaryFile() as out:
        begun_s = time.monotonic()
        with Ringing(out) as ringing:
            last = ringing.place("c", begun_s + 0.35)
            first = ringing.place("a", begun_s + 0.25)
            gone = ringing.place("x", begun_s + 0.3)
            ringing.place("b", begun_s + 0.3)
            assert gone is not None
            ringing.withdraw(gone)
            while os.fstat(out.fileno()).st_size < 3:
                assert time.monotonic() < begun_s + 60.0
                time.sleep(0.02)
            given = ringing.close()
        out.seek(0)
        assert out.read() == b"abc"
    assert first in given
    assert last in given
    assert gone not in given
    assert all(at_s >= begun_s + 0.25 for at_s in given.values())


def test_what_is_still_to_come_is_dropped_at_the_end() -> None:
    with tempfile.TemporaryFile() as out:
        with Ringing(out) as ringing:
            ringing.place("a", time.monotonic() + 3600.0)
        assert os.fstat(out.fileno()).st_size == 0
    assert ringing.place("a", 0.0) is None
    assert ringing.close() == {}


def test_a_ringer_that_died_is_said() -> None:
    with Ringing() as ringing:
        ringing._process.kill()
        ringing._process.wait()
        assert ringing.place("a", time.monotonic()) is None


def test_a_listener_that_is_gone_stops_nothing(tmp_path: Path) -> None:
    with (tmp_path / "rung").open("wb") as out:
        reading, writing = os.pipe()
        os.close(reading)
        Ringer(out.fileno(), writing).run(_slowly(f"{time.monotonic()} 1 61", out.fileno()))
        os.close(writing)
    assert (tmp_path / "rung").read_bytes() == b"a"


def _slowly(line: str, out: int) -> Iterator[str]:
    yield line
    while os.fstat(out).st_size == 0:
        time.sleep(0.01)


@pytest.mark.skipif(not LINUX, reason="the call's number is known for Linux on this machine only")
def test_the_slice_is_taken_and_the_thread_stays_ordinary() -> None:
    read = struct.Struct("=IIQiIQQQ")
    seen: list[tuple[bool, int, int, int]] = []

    def work() -> None:
        taken = short_slice()
        held = ctypes.create_string_buffer(read.size)
        ctypes.CDLL(None).syscall(ctypes.c_long(315), 0, held, read.size, 0)
        _, policy, _, nice, _, slice_ns, _, _ = read.unpack(held.raw)
        seen.append((taken, policy, nice, slice_ns))

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    taken, policy, nice, slice_ns = seen[0]
    assert policy == os.SCHED_OTHER
    assert nice == os.getpriority(os.PRIO_PROCESS, 0)
    # Before Linux 6.12 the wish is taken and not kept.
    assert not taken or slice_ns in (SLICE_NS, 0)


def test_where_the_call_is_not_known_nothing_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(platform, "machine", lambda: "unknown")
    assert short_slice() is False
