"""Lines of a serial CAN adapter: exactly a frame, or counted as damaged."""

import os
import threading
import tty
from collections.abc import Iterator
from dataclasses import dataclass, field

import can
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.bus.serial_line import SerialLineBus, parse_line
from bellmouth.practice.frames import Frame
from bellmouth.practice.slcan import frame_line

GOOD = b"t7E8804410C0AF0AAAAAA"


@given(
    st.binary(max_size=8), st.booleans(), st.integers(0, 0x1FFFFFFF), st.sampled_from(["", "1A2B"])
)
def test_every_frame_is_read(data: bytes, extended: bool, number: int, stamp: str) -> None:
    identifier = number if extended else number & 0x7FF
    line = frame_line(Frame(identifier, data, extended)) + stamp.encode()
    frame = parse_line(line)
    assert frame is not None
    message = frame.message()
    assert (message.arbitration_id, message.is_extended_id) == (identifier, extended)
    assert (bytes(message.data), message.dlc) == (data, len(data))
    assert frame[:5] == (identifier, extended, False, len(data), data)


@pytest.mark.parametrize("cut", range(len(GOOD)))
def test_no_cut_line_is_a_frame(cut: int) -> None:
    assert parse_line(GOOD[:cut]) is None


@pytest.mark.parametrize("place", range(len(GOOD)))
@pytest.mark.parametrize("byte", [b"?", b"\xb5", b" ", b"\n"])
def test_no_line_with_a_strange_character_is_a_frame(place: int, byte: bytes) -> None:
    assert parse_line(GOOD[:place] + byte + GOOD[place + 1 :]) is None


@pytest.mark.parametrize(
    "line",
    [
        b"",
        GOOD + b"A",  # a digit too many
        GOOD + GOOD,  # two frames whose border is lost
        b"t7E8904410C0AF0AAAAAA00",  # nine bytes
        b"t8008" + b"00" * 8,  # more than eleven bits
        b"T200000008" + b"00" * 8,  # more than twenty-nine
        b"x7E8804410C0AF0AAAAAA",
    ],
)
def test_no_contradiction_is_a_frame(line: bytes) -> None:
    assert parse_line(line) is None


@dataclass
class Adapter:
    """The other end of a pseudo-terminal: answers commands as told."""

    fd: int
    path: str
    answers: dict[bytes, bytes] = field(default_factory=dict)
    commands: list[bytes] = field(default_factory=list)
    is_mute: bool = False

    def run(self) -> None:
        held = b""
        while True:
            try:
                held += os.read(self.fd, 100)
            except OSError:
                return
            *lines, held = held.split(b"\r")
            self.commands += lines
            if b"!" in lines:
                return
            if not self.is_mute:
                os.write(self.fd, b"".join(self.answers.get(one, b"\r") for one in lines))


@pytest.fixture
def adapter() -> Iterator[Adapter]:
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    made = Adapter(ours, os.ttyname(theirs))
    thread = threading.Thread(target=made.run, daemon=True)
    thread.start()
    yield made
    os.write(theirs, b"!\r")
    thread.join(5)
    os.close(theirs)
    os.close(ours)


def _receive(bus: SerialLineBus, adapter: Adapter, text: bytes) -> can.Message | None:
    os.write(adapter.fd, text)
    return bus.recv(0.5)


def test_one_byte_above_7f_does_not_poison_what_follows(adapter: Adapter) -> None:
    with SerialLineBus(adapter.path, 500_000) as bus:
        message = _receive(bus, adapter, b"t7E8804\xb5\r" + GOOD + b"\r")
        assert message is not None
        assert bytes(message.data) == bytes.fromhex("04410C0AF0AAAAAA")
        assert bus.damaged == 1


def test_a_frame_behind_acknowledgements_is_found_at_once(adapter: Adapter) -> None:
    with SerialLineBus(adapter.path, 500_000) as bus:
        assert _receive(bus, adapter, b"\rz\rZ\r" + GOOD + b"\r") is not None
        assert bus.recv(0) is None
        os.write(adapter.fd, b"z\r" + GOOD + b"\r")
        bus._wait(2.0)
        assert bus.recv(0) is not None
        assert bus.damaged == 0


def test_endless_characters_are_given_up(adapter: Adapter) -> None:
    with SerialLineBus(adapter.path, 500_000) as bus:
        assert _receive(bus, adapter, b"t7E8" * 30) is None
        assert bus.damaged >= 1
        assert _receive(bus, adapter, b"\r" + GOOD + b"\r") is not None


def test_the_bit_rate_is_set_before_the_bus_is_opened(adapter: Adapter) -> None:
    with SerialLineBus(adapter.path, 250_000) as bus:
        assert bus.acknowledges
    assert adapter.commands[:3] == [b"C", b"S5", b"O"]


def test_a_refusal_to_open_is_not_swallowed(adapter: Adapter) -> None:
    adapter.answers[b"O"] = b"\a"
    with pytest.raises(can.CanInitializationError, match="refuses to open"):
        SerialLineBus(adapter.path, 500_000)
    adapter.answers[b"S6"] = b"\a"
    with pytest.raises(can.CanInitializationError, match="refuses 500000 bit/s"):
        SerialLineBus(adapter.path, 500_000)


def test_an_unknown_bit_rate_is_said(adapter: Adapter) -> None:
    with pytest.raises(can.CanInitializationError, match="bit rate 123 is none of 10000"):
        SerialLineBus(adapter.path, 123)


def test_refusals_are_counted(adapter: Adapter) -> None:
    adapter.answers[b"t7DF0"] = b"\a"
    with SerialLineBus(adapter.path, 500_000) as bus:
        bus.send(can.Message(arbitration_id=0x7DF, is_extended_id=False))
        bus._wait(2.0)
        assert bus.recv(0) is None
        assert bus.refused == 1


def test_an_adapter_that_says_nothing_is_opened_all_the_same(
    adapter: Adapter, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("bellmouth.bus.serial_line._WAKE_S", 0.05)
    monkeypatch.setattr("bellmouth.bus.serial_line._ACK_S", 0.05)
    adapter.is_mute = True
    with SerialLineBus(adapter.path, 500_000) as bus:
        assert not bus.acknowledges
        assert _receive(bus, adapter, GOOD + b"\r") is not None
