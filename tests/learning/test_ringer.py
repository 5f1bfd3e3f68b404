"""A process of its own that rings in time."""

import ctypes
import os
import platform
import struct
import sys
import tempfile
import threading
import time
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


def test_one_that_died_is_made_up_for_and_when_all_did_that_is_said() -> None:
    with tempfile.TemporaryFile() as out, Ringing(out) as ringing:
        first, *others = ringing._ringers
        first.kill()
        first.wait()
        if others:
            assert ringing.place("a", time.monotonic()) is not None
            until_s = time.monotonic() + 60.0
            while os.fstat(out.fileno()).st_size == 0:
                assert time.monotonic() < until_s
                time.sleep(0.01)
        for one in others:
            one.kill()
            one.wait()
        assert ringing.place("a", time.monotonic()) is None


def test_many_ring_once_each() -> None:
    with tempfile.TemporaryFile() as out:
        with Ringing(out) as ringing:
            tokens = [ringing.place("x", time.monotonic() + 0.4) for _ in range(100)]
            until_s = time.monotonic() + 60.0
            while os.fstat(out.fileno()).st_size < 100:
                assert time.monotonic() < until_s
                time.sleep(0.01)
            time.sleep(0.1)
            given = ringing.close()
        assert os.fstat(out.fileno()).st_size == 100
    assert set(given) == set(tokens)


def test_a_listener_that_is_gone_stops_nothing(tmp_path: Path) -> None:
    lines, line = os.pipe()
    reading, told = os.pipe()
    os.close(reading)
    os.write(line, f"{time.monotonic()} 1 61\n{time.monotonic() + 0.05} 2 62\n".encode())
    with (tmp_path / "rung").open("wb") as out, tempfile.TemporaryFile() as claims:
        ringer = Ringer(claims.fileno(), lines, told, out.fileno())
        working = threading.Thread(target=ringer.run)
        working.start()
        until_s = time.monotonic() + 60.0
        while os.fstat(out.fileno()).st_size < 2:
            assert time.monotonic() < until_s
            time.sleep(0.01)
        os.close(line)
        working.join()
    for one in (lines, told):
        os.close(one)
    assert (tmp_path / "rung").read_bytes() == b"ab"


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
