"""The car on the K line by itself, in the test's own time; ISO 14230-2 and -4 from memory."""

from dataclasses import astuple

import pytest

from bellmouth.j1979 import iso14230
from bellmouth.j1979.iso14230 import KeyBytes, Message
from bellmouth.practice.kline_car import KLineCar, Start
from tests.practice.stub_car import StubCar, stub_car

FAST: tuple[Start, ...] = ("fast",)
SLOW: tuple[Start, ...] = ("slow",)
START = bytes.fromhex("C133F18166")


class Line:
    """A tester's end: what was said, and what came back by when."""

    def __init__(self, car: StubCar | None = None, **options: object) -> None:
        self.line = KLineCar(car or stub_car(), **options)  # type: ignore[arg-type]
        self.now_s = 100.0

    def say(self, data: bytes, within_s: float = 1.0) -> list[bytes]:
        self.line.take(data, self.now_s)
        self.now_s += within_s
        return self.line.give(self.now_s)

    def ask(self, text: str, to: int | None = None, within_s: float = 1.0) -> list[Message]:
        message = Message(0x33 if to is None else to, 0xF1, bytes.fromhex(text), to is None)
        frames = self.say(iso14230.encode(message), within_s)
        return [iso14230.decode(frame) for frame in frames]

    def start(self) -> list[bytes]:
        return self.say(b"\0") + self.say(START)


def data(messages: list[Message]) -> list[tuple[int, str]]:
    return [(message.source, message.data.hex().upper()) for message in messages]


def test_the_fast_start_is_answered_with_key_bytes() -> None:
    line = Line()
    assert line.start() == [bytes.fromhex("83F110C1EF8FC3"), bytes.fromhex("83F118C1EF8FCB")]
    assert line.line.is_started


def test_the_slow_start_is_a_conversation() -> None:
    line = Line(starts=SLOW)
    heard = line.say(b"\x33", within_s=3.0)
    assert heard == [b"\x55", b"\xef", b"\x8f"]
    assert not line.line.is_started
    assert line.say(b"\x70") == [b"\xcc"]  # each inverted, and the address back
    assert line.line.is_started
    assert data(line.ask("010C"))[0] == (0x10, "410C1AF8")


def test_the_slow_start_takes_as_long_as_ten_bits_at_5_bit_s() -> None:
    line = Line(starts=SLOW)
    assert line.say(b"\x33", within_s=2.05) == []
    assert line.line.wait_s(line.now_s) == pytest.approx(0.01, abs=1e-9)  # W1 is 60 ms


def test_a_wrong_inverted_key_byte_starts_nothing() -> None:
    line = Line(starts=SLOW)
    line.say(b"\x33", within_s=3.0)
    assert line.say(b"\x71") == []
    assert line.ask("010C") == []


@pytest.mark.parametrize(("starts", "wake"), [(FAST, b"\x33"), (SLOW, b"\0")])
def test_a_car_that_knows_one_way_ignores_the_other(starts: tuple[Start, ...], wake: bytes) -> None:
    line = Line(starts=starts)
    assert line.say(wake, within_s=3.0) == []
    assert line.say(START) == []


def test_nothing_is_answered_before_the_start() -> None:
    line = Line()
    assert line.ask("010C") == []
    line.say(b"\0")
    assert line.ask("010C") == []  # woken, but not started


def test_both_controllers_answer_one_after_the_other() -> None:
    line = Line()
    line.start()
    message = iso14230.encode(Message(0x33, 0xF1, b"\x01\x0c", functional=True))
    line.line.take(message, line.now_s)
    # P2 of 25 ms before each, and 8 bytes of 10 bits at 10.4 kbit/s.
    frame_s = 8 * 10 / 10_400
    first, second = 0.025 + frame_s, 2 * (0.025 + frame_s)
    assert line.line.wait_s(line.now_s) == pytest.approx(first)
    assert len(line.line.give(line.now_s + first + 1e-6)) == 1
    assert line.line.give(line.now_s + second - 1e-3) == []
    assert len(line.line.give(line.now_s + second + 1e-6)) == 1


def test_only_the_one_that_is_asked_answers() -> None:
    line = Line()
    line.start()
    assert data(line.ask("010C", to=0x18)) == [(0x18, "410C0AF0")]
    assert data(line.ask("0902", to=0x18)) == [(0x18, "7F0911")]
    assert line.ask("010C", to=0x42) == []


def test_codes_and_the_vehicle_number_in_the_form_of_the_line() -> None:
    line = Line()
    line.start()
    assert data(line.ask("03")) == [(0x10, "43010101710507"), (0x10, "4303FF00000000")]
    assert [text[:8] for _, text in data(line.ask("0902"))] == [
        f"49020{number}{first}" for number, first in enumerate(("00", "47", "35", "52", "32"), 1)
    ]


def test_a_session_ends_when_nothing_is_said_for_five_seconds() -> None:
    line = Line()
    line.start()
    line.now_s += 3.9
    assert data(line.ask("3E")) == [(0x10, "7E"), (0x18, "7E")]  # the tester is present
    line.now_s += 3.9
    assert len(line.ask("010C")) == 2
    line.now_s += 5.0
    assert line.ask("010C") == []
    assert not line.line.is_started
    assert len(line.start()) == 2


def test_a_session_ends_when_it_is_asked_to() -> None:
    line = Line()
    line.start()
    assert data(line.ask("82")) == [(0x10, "C2"), (0x18, "C2")]
    assert line.ask("010C") == []


def test_a_damaged_request_is_not_answered_and_does_not_hurt_the_next() -> None:
    line = Line()
    line.start()
    good = iso14230.encode(Message(0x33, 0xF1, b"\x01\x0c", functional=True))
    assert line.say(good[:-1] + b"\x99") == []
    assert line.say(good[:3]) == []  # cut off; the next comes after a pause
    assert len(line.say(b"\x77" + good)) == 2  # noise before it that starts no frame


def test_bytes_of_a_request_may_come_one_at_a_time() -> None:
    line = Line()
    line.start()
    frame = iso14230.encode(Message(0x33, 0xF1, b"\x01\x0c", functional=True))
    heard = [answer for byte in frame for answer in line.say(bytes((byte,)), 0.005)]
    assert heard == []
    line.now_s += 0.2
    assert len(line.line.give(line.now_s)) == 2


def test_who_needs_longer_than_p2_promises_first() -> None:
    line = Line(stub_car(after_s=0.4))
    line.start()
    assert data(line.ask("010C", to=0x10, within_s=0.1)) == [(0x10, "7F0178")]
    line.now_s += 0.4
    assert [iso14230.decode(f).data for f in line.line.give(line.now_s)] == [b"\x41\x0c\x1a\xf8"]


def test_a_sleeping_car_is_silent_and_must_be_started_again() -> None:
    car = stub_car()
    line = Line(car)
    line.start()
    car.awake = False
    assert line.ask("010C") == []
    car.awake = True
    assert line.ask("010C") == []
    assert len(line.start()) == 2


@pytest.mark.parametrize("quicker", [1.0, 2.0])
def test_a_car_that_comes_to_in_the_middle_of_a_frame_hears_the_next_pulse(quicker: float) -> None:
    """The silence of a wake-up ends whatever was begun, however quick the line's times are."""
    timing = iso14230.Timing(*(one / quicker for one in astuple(iso14230.TIMING)))
    car = stub_car()
    car.awake = False
    line = Line(car, timing=timing)
    line.say(START[:2], within_s=timing.request_byte_gap)
    car.awake = True
    line.say(START[2:], within_s=timing.idle)
    assert line.say(b"\0", within_s=timing.fast_whole) == []
    assert len(line.say(START)) == len(car.nodes)


def test_another_standard_shows_in_the_key_bytes() -> None:
    line = Line(keys=KeyBytes(0x08, 0x08))
    assert line.start()[0] == bytes.fromhex("83F110C1080855")
