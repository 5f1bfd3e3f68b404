"""The car on CAN by itself, with a clock of the test's own; ISO 15765-2 and -4 from memory."""

import pytest

from bellmouth.practice.frames import Frame
from bellmouth.practice.isotp_node import CanCar
from tests.practice.stub_car import SPEED, VEHICLE_NUMBER, stub_car


class Clock:
    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def request(text: str, identifier: int = 0x7DF) -> Frame:
    return Frame(identifier, bytes.fromhex(text).ljust(8, b"\x55"), identifier > 0x7FF)


def test_a_reply_comes_when_the_controller_says_so() -> None:
    clock = Clock()
    car = CanCar(stub_car(after_s=0.03), clock=clock)
    car.take(request("02010C", 0x7E0))
    assert car.give() == []
    assert car.wait_s() == pytest.approx(0.03)
    clock.now_s = 0.03
    assert car.wait_s() == 0.0
    assert car.give() == [Frame(0x7E8, bytes((4,)) + SPEED + b"\xaa\xaa\xaa")]
    assert car.wait_s() is None


def test_a_promise_goes_ahead_of_the_answer() -> None:
    clock = Clock()
    car = CanCar(stub_car(after_s=1.0, pending=True), clock=clock)
    car.take(request("02010C", 0x7E0))
    (promise,) = car.give()
    assert promise.data[:4] == b"\x03\x7f\x01\x78"
    clock.now_s = 1.0
    (answer,) = car.give()
    assert answer.data[1:5] == SPEED


@pytest.mark.parametrize(
    "frame",
    [
        Frame(0x7DF, bytes.fromhex("02010C")),  # shorter than eight bytes
        Frame(0x7DF, b""),
        Frame(0x7DF, remote=True, length=8),
        request("00010C"),  # no length
        request("08010C"),  # longer than a single frame
        request("100801"),  # no first frame goes to all
        request("02010C", 0x7E5),  # nobody's
        request("02010C", 0x18DB33F1),  # identifiers of the other size
    ],
)
def test_what_the_standard_does_not_allow_is_not_answered(frame: Frame) -> None:
    car = CanCar(stub_car(), clock=Clock())
    car.take(frame)
    assert car.give() == []
    assert car.wait_s() is None


def test_a_tester_that_never_lets_it_go_on_is_given_up() -> None:
    car = CanCar(stub_car(), clock=Clock())
    car.take(request("020902", 0x7E0))
    (first,) = car.give()
    assert first.data == bytes((0x10, 20)) + VEHICLE_NUMBER[:6]
    car.take(request("320000", 0x7E0))  # overflow: the tester has no room
    assert car.give() == []
    car.take(request("02010C", 0x7E0))
    assert [frame.data[1:5] for frame in car.give()] == [SPEED]


def test_a_new_request_ends_an_answer_that_is_stuck() -> None:
    car = CanCar(stub_car(), clock=Clock())
    car.take(request("020902", 0x7E0))
    assert len(car.give()) == 1  # and no flow control comes
    car.take(request("02010C", 0x7E0))
    assert [frame.data[1:5] for frame in car.give()] == [SPEED]
    assert car.wait_s() is None


def test_the_tester_may_ask_for_one_frame_at_a_time() -> None:
    car = CanCar(stub_car(), clock=Clock())
    car.take(request("020902", 0x7E0))
    heard = [car.give()]
    for _ in range(2):
        car.take(request("300100", 0x7E0))
        heard.append(car.give())
    assert [[frame.data[0] for frame in frames] for frames in heard] == [[0x10], [0x21], [0x22]]


def test_padding_may_be_any_byte() -> None:
    car = CanCar(stub_car(), padding=0x00, clock=Clock())
    car.take(request("02010C", 0x7E0))
    assert car.give()[0].data.endswith(b"\0\0\0")


def test_a_gearbox_whose_address_is_18_answers_as_the_second_of_eleven_bits() -> None:
    small, large = CanCar(stub_car(), clock=Clock()), CanCar(stub_car(), identifiers=29)
    small.take(request("02010C"))
    large.take(request("02010C", 0x18DB33F1))
    assert [f.identifier for f in small.give()] == [0x7E8, 0x7E9]
    assert [f.identifier for f in large.give()] == [0x18DAF110, 0x18DAF118]
