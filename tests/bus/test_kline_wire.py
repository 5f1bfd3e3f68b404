"""The bits of a K line on a serial port that only notes what is done to it."""

import os
from itertools import pairwise

import pytest

from bellmouth.bus.kline_wire import Wake, Wire
from bellmouth.j1979.iso14230 import Message


class Port:
    """A port that notes its levels, with a clock that runs when somebody waits."""

    def __init__(self) -> None:
        self.baudrate = 10_400
        self.timeout: float | None = 0.0
        self.now_s = 0.0
        self.late_s = 0.0
        self.levels: list[tuple[float, bool]] = []
        self.written: list[tuple[float, int, bytes]] = []

    @property
    def break_condition(self) -> bool:
        return bool(self.levels and self.levels[-1][1])

    @break_condition.setter
    def break_condition(self, low: bool) -> None:
        if not self.levels or self.levels[-1][1] != low:
            self.levels.append((self.now_s, low))
            self.now_s += self.late_s

    @property
    def in_waiting(self) -> int:
        return 0

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds

    def read(self, _: int = 1, /) -> bytes:
        self.now_s += self.timeout or 0.0
        return b""

    def write(self, data: bytes, /) -> int:
        self.written.append((self.now_s, self.baudrate, data))
        return len(data)

    def flush(self) -> None: ...

    def close(self) -> None: ...


def wired(wake: Wake, channel: str = "/dev/ttyUSB0") -> tuple[Port, Wire]:
    port = Port()
    return port, Wire(port, channel, wake=wake, clock=lambda: port.now_s, sleep=port.sleep)


def test_the_fast_pulse_on_hardware_is_25_ms_low_and_25_ms_high() -> None:
    port, wire = wired("auto")
    wire.wake_fast()
    (down_s, down), (up_s, up) = port.levels
    assert (down, up) == (True, False)
    assert down_s == pytest.approx(0.3, abs=1e-3)
    assert up_s - down_s == pytest.approx(0.025, abs=1e-3)
    assert port.now_s - down_s == pytest.approx(0.050, abs=1e-3)


def test_silence_there_has_been_counts_before_the_next_pulse() -> None:
    """A sleeping car is tried again 0.3 s after the last byte, however long an answer took."""
    port, wire = wired("auto")
    first_s = wire.wake_fast()
    assert first_s == pytest.approx(0.3, abs=1e-3)
    wire.send(Message(0x33, 0xF1, b"\x81", functional=True))
    sent_s = port.now_s
    assert wire.receive(sent_s + 0.050) is None
    assert port.now_s == pytest.approx(sent_s + 0.150, abs=1e-3)
    assert wire.wake_fast() == pytest.approx(sent_s + 0.3, abs=1e-3)


def test_bytes_of_a_request_are_5_ms_apart_and_nothing_waits_after_the_last() -> None:
    port, wire = wired("auto")
    wire.send(Message(0x33, 0xF1, b"\x81", functional=True))
    times = [at for at, _, _ in port.written]
    assert [later - at for at, later in pairwise(times)] == pytest.approx([0.00596] * 4, abs=1e-3)
    assert port.now_s - times[-1] == pytest.approx(10 / 10_400, abs=1e-3)


def test_a_pulse_that_was_stretched_proves_no_car_asleep() -> None:
    port, wire = wired("break")
    port.late_s = 0.005
    assert wire.wake_fast() is None


def test_the_slow_address_on_hardware_is_33_at_5_bit_s() -> None:
    port, wire = wired("break")
    assert wire.wake_slowly(0x33) is None
    # Start bit, then 33 with its lowest bit first: 1 1 0 0 1 1 0 0, then the stop bit.
    start = port.levels[0][0]
    edges = [(round((at - start) / 0.2), low) for at, low in port.levels]
    assert edges == [(0, True), (1, False), (3, True), (5, False), (7, True), (9, False)]


def test_where_there_are_no_levels_slow_bytes_stand_for_them() -> None:
    port, wire = wired("auto", os.ttyname(os.openpty()[1]))
    wire.wake_fast()
    wire.wake_slowly(0x33)
    assert port.levels == []
    assert [(rate, data) for _, rate, data in port.written] == [(360, b"\0"), (5, b"\x33")]
    assert port.baudrate == 10_400
