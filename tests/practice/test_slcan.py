import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.practice.frames import Frame
from bellmouth.practice.slcan import BIT_RATES, Adapter, frame_line, parse_frame


@st.composite
def frames(draw: st.DrawFn) -> Frame:
    extended = draw(st.booleans())
    identifier = draw(st.integers(0, 0x1FFFFFFF if extended else 0x7FF))
    if draw(st.booleans()):
        return Frame(identifier, b"", extended, remote=True, length=draw(st.integers(0, 8)))
    return Frame(identifier, draw(st.binary(max_size=8)), extended)


@given(frames())
def test_every_frame_comes_back_from_its_line(frame: Frame) -> None:
    assert parse_frame(frame_line(frame)) == frame


@given(st.binary(max_size=30))
def test_any_line_is_exactly_one_frame_or_none(line: bytes) -> None:
    frame = parse_frame(line)
    assert frame is None or frame_line(frame).upper() == line.upper()


@pytest.mark.parametrize(
    ("frame", "line"),
    [
        (Frame(0x7DF, bytes.fromhex("02010C5555555555")), b"t7DF802010C5555555555"),
        (Frame(0x18DB33F1, b"\x01", extended=True), b"T18DB33F1101"),
        (Frame(0x7E8, remote=True, length=3), b"r7E83"),
        (Frame(0x18DAF110, extended=True, remote=True, length=8), b"R18DAF1108"),
    ],
)
def test_lines_as_the_protocol_has_them(frame: Frame, line: bytes) -> None:
    assert frame_line(frame) == line


@pytest.mark.parametrize(
    "line",
    [b"t7DF802010C55555555", b"t7DF802010C555555555500", b"t7DF9", b"t7D", b"tFFF0", b"t7DF10g",
     b"T2000000000", b"r7DF100", b"x7DF0", b""],
)  # fmt: skip
def test_a_line_that_contradicts_itself_is_no_frame(line: bytes) -> None:
    assert parse_frame(line) is None


def opened(command: bytes = b"S6\rO\r", car_bit_rate: int = 500_000) -> Adapter:
    adapter = Adapter(car_bit_rate)
    assert adapter.feed(command) == b"\r\r"
    return adapter


@pytest.mark.parametrize(
    ("typed", "answered"),
    [
        (b"\r", b"\r"),
        (b"O\r", b"\a"),  # no bit rate has been set
        (b"S6\rO\rO\r", b"\r\r\a"),
        (b"S6\rO\rS5\r", b"\r\r\a"),
        (b"S6\rL\rt7DF0\r", b"\r\r\a"),  # a listener does not speak
        (b"C\r", b"\a"),
        (b"S6\rO\rC\rC\r", b"\r\r\r\a"),
        (b"S9\r", b"\a"),
        (b"S\r", b"\a"),
        (b"V\rv\rN\r", b"V1013\rv1013\rNBELL\r"),
        (b"Z0\rZ1\r", b"\r\a"),  # time stamps stay off
        (b"F\rS6\rO\rF\r", b"\a\r\rF00\r"),
        (b"t7DF0\r", b"\a"),
        (b"S6\rO\rt7DF0\rT000007DF0\r", b"\r\rz\rZ\r"),
        (b"S6\rO\rt7DF1\r", b"\r\r\a"),
        (b"hello\r", b"\a"),
        (b"t" + b"1" * 500 + b"\rV\r", b"\aV1013\r"),
        (b"\xb5\xff\rV\r", b"\aV1013\r"),
    ],
)
def test_each_command_is_acknowledged_or_refused(typed: bytes, answered: bytes) -> None:
    assert Adapter().feed(typed) == answered


def test_characters_may_come_one_at_a_time() -> None:
    adapter = opened()
    answers = b"".join(adapter.feed(bytes((one,))) for one in b"t7E0201FF\rV\r")
    assert answers == b"z\rV1013\r"
    assert adapter.sent == [Frame(0x7E0, b"\x01\xff")]


@pytest.mark.parametrize("command", BIT_RATES)
def test_at_another_bit_rate_the_bus_is_empty(command: bytes) -> None:
    adapter = opened(command + b"\rO\r", car_bit_rate=250_000)
    adapter.feed(b"t7DF0\r")
    assert adapter.hears == (command == b"S5")
    assert bool(adapter.sent) == adapter.hears


def test_a_reset_adapter_is_as_just_plugged_in() -> None:
    adapter = opened()
    adapter.feed(b"t7DF0\rt7D")
    adapter.reset()
    assert not adapter.hears
    assert adapter.sent == []
    assert adapter.feed(b"V\r") == b"V1013\r"
