"""The link over the K line against the practice car on a pseudo-terminal."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from bellmouth.bus.kline import KLineLink, open_kline
from bellmouth.bus.link import Losses
from bellmouth.errors import BusError
from bellmouth.j1979.iso14230 import KeyBytes, Message, Timing
from bellmouth.practice import kline_car
from bellmouth.practice.faulty import Disturbance
from bellmouth.practice.kline import KLineServer
from bellmouth.practice.kline_car import Start
from tests.practice.stub_car import ANSWERS, CODES, SPEED, VEHICLE_NUMBER, StubCar, stub_car

# What need not be waited out to see that it works; the standard's own times have tests of theirs.
QUICK = Timing(
    answer_least=0.001, answer_most=0.002, request_least=0.0, request_byte_gap=0.0, idle=0.0,
    slow_bit=0.002, pending_most=5.0, fast_low=0.0005, fast_whole=0.001,
)  # fmt: skip
SLACK_S = 0.5  # a busy machine may take so much longer


@pytest.fixture(scope="module", autouse=True)
def unhurried() -> Iterator[None]:
    """The car bears bytes of a frame that come as late as a busy machine sends them.

    In life a message that stands still for a tenth of a second is over, and asked again.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(kline_car, "_BYTE_GAP_LEAST_S", 2.0)
        yield


@contextmanager
def talking(
    car: StubCar | None = None, *, timing: Timing = QUICK, **options: object
) -> Iterator[KLineLink]:
    server = KLineServer(car or stub_car(), timing=timing, **options)  # type: ignore[arg-type]
    with server:
        link = open_kline(server.channel, timing=timing, slack_s=SLACK_S)
        try:
            yield link
        finally:
            link.close()


@pytest.mark.parametrize("echo", [True, False])
@pytest.mark.parametrize("way", ["fast", "slow"])
def test_a_session_either_way_with_and_without_echo(way: Start, echo: bool) -> None:
    with talking(starts=(way,), echo=echo) as link:
        assert link.description == f"ISO 14230-4, {way} start, 10.4 kbit/s"
        (answer,) = link.exchange(b"\x01\x0c", 0x10).answers
        assert (answer.source, answer.payload) == (0x10, SPEED)
        assert link.losses.total() == 0


class _HearsAllOnly(kline_car.KLineCar):
    """Controllers that hear what is asked of all, which is what ISO 14230-4 has, and no more."""

    def _hear(self, message: Message, now: float) -> None:
        if message.functional:
            super()._hear(message, now)


@pytest.mark.parametrize("way", ["fast", "slow"])
@pytest.mark.parametrize("several", [False, True])
def test_controllers_that_hear_no_address_of_their_own(
    monkeypatch: pytest.MonkeyPatch, way: Start, several: bool
) -> None:
    monkeypatch.setattr("bellmouth.practice.kline.KLineCar", _HearsAllOnly)
    car = stub_car()
    car.nodes[1].answers = {**car.nodes[1].answers, "0100": bytes.fromhex("410000100000")}
    if not several:
        del car.nodes[1]
    with talking(car, starts=(way,)) as link:
        assert len(link.exchange(b"\x01\x00").answers) == len(car.nodes)
        (answer,) = link.exchange(b"\x01\x0c", 0x10).answers
        assert (answer.source, answer.payload) == (0x10, SPEED)
        assert link.exchange(b"\x09\x02", 0x10).answers[0].payload == VEHICLE_NUMBER
        assert link.losses.stray == link.losses.cut == 0
        if several:
            (other,) = link.exchange(b"\x01\x0c", 0x18).answers
            assert other.payload.hex() == "410c0af0"


def test_one_of_several_is_asked_by_its_address_where_it_hears_that(
    link: KLineLink, car: StubCar
) -> None:
    car.nodes[1].asked.clear()
    for _ in range(3):
        link.exchange(b"\x01\x0c", 0x10)
    assert car.nodes[1].asked == []


def test_the_standards_own_times() -> None:
    """One exchange as on a real car: 36 ms to ask, 25 to 50 to wait, 55 between."""
    with talking(timing=Timing()) as link:
        exchange = link.exchange(b"\x01\x0c", 0x10)
        (answer,) = exchange.answers
        assert answer.received_s - exchange.sent_s >= 6 * 0.005 + 0.025
        again = link.exchange(b"\x01\x0c", 0x10)
        assert again.sent_s - answer.received_s >= 0.055


@pytest.fixture(scope="module")
def session() -> Iterator[tuple[StubCar, KLineLink]]:
    """One session for the tests that leave it as it was."""
    car = stub_car()
    with talking(car) as link:
        yield car, link


@pytest.fixture
def link(session: tuple[StubCar, KLineLink], car: StubCar) -> KLineLink:
    return session[1]


@pytest.fixture
def car(session: tuple[StubCar, KLineLink]) -> StubCar:
    car, link = session
    car.nodes[0].answers = ANSWERS
    car.nodes[0].asked.clear()
    link._losses = Losses()
    return car


def test_every_controller_answers_a_question_to_all(link: KLineLink) -> None:
    answers = link.exchange(b"\x01\x0c", expect=2).answers
    assert {answer.source: answer.payload.hex() for answer in answers} == {
        0x10: "410c1af8", 0x18: "410c0af0",
    }  # fmt: skip


def test_the_vehicle_number_comes_in_the_form_of_can(link: KLineLink) -> None:
    (number,) = link.exchange(b"\x09\x02", 0x10).answers
    assert number.payload == VEHICLE_NUMBER


def test_codes_are_held_against_the_cars_own_count(link: KLineLink, car: StubCar) -> None:
    assert link.exchange(b"\x03", 0x10).answers[0].payload == CODES
    assert car.nodes[0].asked == [b"\x03", b"\x01\x01"]


def test_what_nothing_counts_is_asked_until_it_is_sure(link: KLineLink, car: StubCar) -> None:
    car.nodes[0].answers = {"07": b"\x47\x01\x01\x71"}
    assert link.exchange(b"\x07", 0x10).answers[0].payload == b"\x47\x01\x01\x71"
    assert link.losses.total() == 0
    assert car.nodes[0].asked == [b"\x07"] * 4


class Changing(dict[str, bytes]):
    """Another code each time somebody looks."""

    number = 0

    def get(self, *_: object) -> bytes:
        self.number += 1
        return bytes((0x47, 1, 1, self.number))


def test_codes_that_change_all_the_time_are_not_believed(link: KLineLink, car: StubCar) -> None:
    car.nodes[0].answers = Changing()
    assert link.exchange(b"\x07", 0x10).answers == ()
    assert link.losses.cut >= 1


def test_several_parameters_are_asked_one_by_one(link: KLineLink, car: StubCar) -> None:
    exchange = link.exchange(b"\x01\x0c\x00", 0x10)
    assert [answer.payload[1] for answer in exchange.answers] == [0x0C, 0x00]
    first, second = exchange.answers
    assert first.received_s < second.received_s
    assert car.nodes[0].asked == [b"\x01\x0c", b"\x01\x00"]


def test_a_refusal_is_handed_on_and_counted(link: KLineLink) -> None:
    (answer,) = link.exchange(b"\x09\x04", 0x10).answers
    assert answer.payload == b"\x7f\x09\x11"
    assert link.losses.refused == 1


def test_silence_is_counted_and_the_session_goes_on(link: KLineLink) -> None:
    assert link.exchange(b"\x01\x42").answers == ()
    assert link.losses.unanswered == 1
    assert len(link.exchange(b"\x01\x0c", expect=2).answers) == 2
    assert link.losses.seen == {}


def test_a_lapsed_session_is_started_again(link: KLineLink) -> None:
    link._last_s -= 1.1 * QUICK.request_most
    assert len(link.exchange(b"\x01\x0c", 0x10).answers) == 1
    assert link.losses.seen == {"session started again": 1}


def test_the_session_is_kept_alive(link: KLineLink, car: StubCar) -> None:
    before = link._last_s
    link.keep_alive()
    assert link._last_s == before  # it is too early for that
    link._last_s -= QUICK.request_most * 0.6
    link.keep_alive()
    assert link._last_s > before
    assert link._session == "up"
    assert car.nodes[0].asked == []  # the session's business, not the controllers'


def test_a_promise_is_waited_out() -> None:
    with talking(stub_car(after_s=0.5, pending=True)) as link:
        (answer,) = link.exchange(b"\x01\x0c", 0x10).answers
        assert answer.payload == SPEED
        assert link.losses.total() == 0


def test_a_car_that_was_switched_off_is_started_again() -> None:
    car = stub_car()
    with talking(car) as link:
        car.awake = False
        assert link.exchange(b"\x01\x0c", 0x10).answers == ()
        assert link.exchange(b"\x01\x0c", 0x10).answers == ()
        assert link.losses.unanswered == 2
        car.awake = True
        assert len(link.exchange(b"\x01\x0c", 0x10).answers) == 1
        assert link.losses.seen == {"session started again": 1}


def test_when_a_car_woke_lies_between_two_tries() -> None:
    car = stub_car()
    with talking(car) as link:
        assert link.woken is None  # it was awake before anybody asked
        car.awake = False
        for _ in range(3):
            link.exchange(b"\x01\x0c", 0x10)
        slept_s = time.monotonic()
        car.awake = True
        exchange = link.exchange(b"\x01\x0c", 0x10)
        assert link.woken is not None
        assert link.woken.asleep_s <= slept_s <= link.woken.awake_s <= exchange.sent_s
        assert link.woken.asleep_s > slept_s - 10.0


def unordered(payload: bytes) -> tuple[bytes, object]:
    """A line that swaps messages may swap codes, which have no order."""
    if payload[0] != 0x43:
        return payload, None
    return payload[:2], {payload[at : at + 2] for at in range(2, len(payload), 2)}


@pytest.mark.parametrize("percent", [1, 5, 20])
def test_on_a_bad_line_no_wrong_value_comes_through_and_every_loss_is_counted(
    percent: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    part = percent / 100
    bad = Disturbance(
        drop=part, delay=part, duplicate=part, reorder=part, corrupt=part, seed=percent,
        delay_s=0.004,
    )  # fmt: skip
    hasty = Timing(**{**vars(QUICK), "byte_gap_most": 0.002})
    right = {
        b"\x01\x0c": {0x10: SPEED, 0x18: bytes.fromhex("410C0AF0")},
        b"\x03": {0x10: CODES},
        b"\x09\x02": {0x10: VEHICLE_NUMBER},
    }
    with KLineServer(stub_car(), timing=hasty) as server:
        link = open_kline(server.channel, timing=hasty, slack_s=SLACK_S)
        # From here on frames are cut short, and what is not answered is the subject.
        monkeypatch.setattr(kline_car, "_BYTE_GAP_LEAST_S", 0.1)
        link._wire._slack_s = 0.03
        server._disturbance = server._to_tester._disturbance = bad
        for request, answers in [*right.items(), *[next(iter(right.items()))] * 5] * 2:
            before = link.losses.total()
            exchange = link.exchange(request, expect=len(answers))
            for answer in exchange.answers:
                assert unordered(answer.payload) == unordered(answers[answer.source])
            assert len(exchange.answers) == len(answers) or link.losses.total() > before
        server._to_tester._disturbance = None
        link.close()
    if percent == 20:
        assert link.losses.damaged > 0
        assert link.losses.unanswered > 0


def test_a_car_of_another_standard_is_one_sentence() -> None:
    server = KLineServer(stub_car(), keys=KeyBytes(0x08, 0x08), timing=QUICK)
    with server, pytest.raises(BusError) as caught:
        open_kline(server.channel, timing=QUICK, slack_s=SLACK_S)
    assert str(caught.value) == (
        f"kline {server.channel}: this car's key bytes are 08 08; it speaks ISO 9141-2, not ISO "
        "14230-4, and cannot be read here."
    )


def test_nobody_there_is_one_sentence() -> None:
    asleep = stub_car()
    asleep.awake = False
    with KLineServer(asleep, timing=QUICK) as server, pytest.raises(BusError) as caught:
        open_kline(server.channel, timing=QUICK, slack_s=0.02)
    assert str(caught.value) == (
        f"kline {server.channel}: nobody answers, neither to the fast start nor to the slow one; "
        "switch the ignition on, check the plug at the car, or try CAN."
    )


def test_a_device_that_is_not_there_is_one_sentence() -> None:
    with pytest.raises(BusError) as caught:
        open_kline("/dev/ttyNONE7")
    assert str(caught.value) == (
        "kline /dev/ttyNONE7: there is no such adapter; plug it in, see which port appears "
        "(/dev/ttyACM0, /dev/ttyUSB0) and correct --channel."
    )


def test_a_device_in_use_is_one_sentence() -> None:
    with KLineServer(stub_car(), timing=QUICK) as server:
        link = open_kline(server.channel, timing=QUICK, slack_s=SLACK_S)
        with pytest.raises(BusError) as caught:
            open_kline(server.channel, timing=QUICK, slack_s=SLACK_S)
        link.close()
    assert str(caught.value) == (
        f"kline {server.channel}: another program holds it; close that program and try again."
    )


def test_what_is_no_serial_device_is_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("hello", "utf-8")
    with pytest.raises(BusError) as caught:
        open_kline(str(path))
    assert str(caught.value) == (
        f"kline {path}: that is no serial port; correct --channel (/dev/ttyACM0, /dev/ttyUSB0)."
    )


def test_an_adapter_pulled_out_for_good_is_one_sentence() -> None:
    server = KLineServer(stub_car(), timing=QUICK)
    link = open_kline(server.channel, timing=QUICK, slack_s=SLACK_S, patience_s=0.0)
    channel = server.channel
    server.close()
    with pytest.raises(BusError) as caught:
        link.exchange(b"\x01\x0c")
    text = str(caught.value)
    assert text.startswith(f"kline {channel}: the adapter went away and did not come back; ")
    assert text.endswith("; plug it in again and start anew.")
    link.close()


def test_an_adapter_pulled_out_and_back_goes_on(tmp_path: Path) -> None:
    name = tmp_path / "ttyUSB0"
    with KLineServer(stub_car(), timing=QUICK) as first:
        name.symlink_to(first.channel)
        link = open_kline(str(name), timing=QUICK, slack_s=SLACK_S)
    with KLineServer(stub_car(), timing=QUICK) as second:
        name.unlink()
        name.symlink_to(second.channel)
        assert link.exchange(b"\x01\x0c", 0x10).answers == ()
        assert link.losses.reopened == 1
        assert link.losses.unanswered == 1
        assert len(link.exchange(b"\x01\x0c", 0x10).answers) == 1
        link.close()
