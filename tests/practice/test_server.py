"""python-can's own ``slcan`` interface against the practice car, on TCP and a pseudo-terminal."""

import contextlib
import os
import socket
import time
from collections.abc import Iterator

import can
import pytest
from can.interfaces.slcan import slcanBus

from bellmouth.errors import BusError
from bellmouth.j1979.addressing import Identifiers, functional_id, physical_id, response_id
from bellmouth.practice.faulty import Disturbance
from bellmouth.practice.server import HOST, SlcanServer
from tests.ports import kept_port
from tests.practice.stub_car import SPEED, VEHICLE_NUMBER, stub_car

PATIENCE_S = 10.0  # for what must come, on however busy a machine
SILENCE_S = 0.15  # for what must not
LOOKS = 40  # in vain; counted, because a time also passes while the adapter's thread stands still
ASK_SPEED = bytes.fromhex("02010C5555555555")
GO_ON = bytes.fromhex("3000005555555555")


@pytest.fixture(params=["tcp", "pty"])
def server(request: pytest.FixtureRequest) -> Iterator[SlcanServer]:
    with SlcanServer(stub_car(), pty=request.param == "pty") as serving:
        yield serving


@contextlib.contextmanager
def opened(server: SlcanServer, bit_rate: int = 500_000) -> Iterator[can.BusABC]:
    bus = can.Bus(
        interface="slcan",
        channel=server.channel,
        bitrate=bit_rate,
        sleep_after_open=0,
        ignore_config=True,
    )
    try:
        yield bus
    finally:
        bus.shutdown()


@contextlib.contextmanager
def plugged(server: SlcanServer) -> Iterator[socket.socket]:
    with socket.create_connection((HOST, server.port), PATIENCE_S) as client:
        yield client


def send(bus: can.BusABC, identifier: int, data: bytes) -> None:
    bus.send(can.Message(arbitration_id=identifier, data=data, is_extended_id=identifier > 0x7FF))


def received(bus: can.BusABC, number: int) -> list[can.Message]:
    messages = [bus.recv(PATIENCE_S) for _ in range(number)]
    return [message for message in messages if message is not None]


def test_both_controllers_answer_a_question_to_all(server: SlcanServer) -> None:
    with opened(server) as bus:
        send(bus, 0x7DF, ASK_SPEED)
        found = {m.arbitration_id: bytes(m.data) for m in received(bus, 2)}
    assert found == {
        0x7E8: bytes.fromhex("04410C1AF8AAAAAA"),
        0x7E9: bytes.fromhex("04410C0AF0AAAAAA"),
    }


@pytest.mark.parametrize("identifiers", [11, 29])
def test_a_long_answer_comes_in_frames(identifiers: Identifiers) -> None:
    ask = physical_id(0x10, identifiers)
    with (
        SlcanServer(stub_car(), pty=True, identifiers=identifiers) as server,
        opened(server) as bus,
    ):
        send(bus, ask, bytes.fromhex("0209025555555555"))
        (first,) = received(bus, 1)
        send(bus, ask, GO_ON)
        rest = received(bus, 2)
        assert {m.arbitration_id for m in (first, *rest)} == {response_id(0x10, identifiers)}
    assert bytes(first.data[:2]) == bytes((0x10, len(VEHICLE_NUMBER)))
    assert [m.data[0] for m in rest] == [0x21, 0x22]
    whole = bytes(first.data[2:]) + b"".join(bytes(m.data[1:]) for m in rest)
    assert whole == VEHICLE_NUMBER


def test_what_only_one_controller_is_asked_the_other_leaves(server: SlcanServer) -> None:
    with opened(server) as bus:
        send(bus, 0x7E1, bytes.fromhex("0209025555555555"))
        (refusal,) = received(bus, 1)
        assert bus.recv(SILENCE_S) is None
    assert (refusal.arbitration_id, bytes(refusal.data[:4])) == (0x7E9, b"\x03\x7f\x09\x11")


def test_the_adapter_says_who_it_is(server: SlcanServer) -> None:
    with opened(server) as bus:
        assert isinstance(bus, slcanBus)
        assert bus.get_version(PATIENCE_S) == (10, 13)
        assert bus.get_serial_number(PATIENCE_S) == "BELL"


@pytest.mark.parametrize("bit_rate", [250_000, 1_000_000])
def test_a_wrong_bit_rate_looks_like_an_empty_bus(server: SlcanServer, bit_rate: int) -> None:
    with opened(server, bit_rate) as bus:
        send(bus, 0x7DF, ASK_SPEED)
        assert bus.recv(SILENCE_S) is None
    with opened(server) as bus:
        send(bus, 0x7DF, ASK_SPEED)
        assert len(received(bus, 2)) == 2


def test_a_car_of_the_other_identifiers_hears_nothing() -> None:
    with SlcanServer(stub_car(), pty=True, identifiers=29) as server, opened(server) as bus:
        send(bus, 0x7DF, ASK_SPEED)
        assert bus.recv(SILENCE_S) is None
        send(bus, functional_id(29), ASK_SPEED)
        assert [m.arbitration_id for m in received(bus, 2)] == [0x18DAF110, 0x18DAF118]


def test_a_short_request_is_ignored_unless_the_car_is_lax() -> None:
    with SlcanServer(stub_car(), pty=True) as server, opened(server) as bus:
        send(bus, 0x7DF, b"\x02\x01\x0c")
        assert bus.recv(SILENCE_S) is None
    with SlcanServer(stub_car(), pty=True, strict=False) as server, opened(server) as bus:
        send(bus, 0x7DF, b"\x02\x01\x0c")
        assert len(received(bus, 2)) == 2


def test_a_sleeping_car_is_silent() -> None:
    car = stub_car()
    with SlcanServer(car, pty=True) as other, opened(other) as bus:
        car.awake = False
        send(bus, 0x7DF, ASK_SPEED)
        assert bus.recv(SILENCE_S) is None
        car.awake = True
        send(bus, 0x7DF, ASK_SPEED)
        assert len(received(bus, 2)) == 2


def test_clients_come_one_after_another(server: SlcanServer) -> None:
    for _ in range(3):
        with opened(server) as bus:
            send(bus, 0x7E0, ASK_SPEED)
            (answer,) = received(bus, 1)
            assert bytes(answer.data[1:5]) == SPEED


def test_a_client_that_died_leaves_the_adapter_usable() -> None:
    with SlcanServer(stub_car()) as server:
        with plugged(server) as dying:
            dying.sendall(b"S5\rO\rt7DF802")
        with opened(server) as bus:
            send(bus, 0x7E0, ASK_SPEED)
            assert len(received(bus, 1)) == 1


def test_whoever_connects_next_takes_the_adapter_over() -> None:
    with SlcanServer(stub_car()) as server, plugged(server) as first:
        first.sendall(b"V\r")
        assert first.recv(10) == b"V1013\r"
        with opened(server) as bus:
            send(bus, 0x7E0, ASK_SPEED)
            assert len(received(bus, 1)) == 1
            assert first.recv(10) == b""


def test_a_client_that_does_not_read_loses_frames_and_is_told() -> None:
    with SlcanServer(stub_car(), pty=True) as server:
        lazy = os.open(server.channel, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        try:
            os.write(lazy, b"S6\rO\r")
            typed = _type_until_it_sticks(lazy, b"t7E0802010C5555555555\r")
            heard = _read_until(lazy, b"\0")
            os.write(lazy, b"\rF\r")  # what stuck may have been half a line
            heard += _read_until(lazy, b"F08\r")
        finally:
            os.close(lazy)
        assert heard.endswith(b"F08\r")  # overrun
        assert 0 < heard.count(b"t7E8") < typed
        with opened(server) as bus:
            send(bus, 0x7E0, ASK_SPEED)
            assert len(received(bus, 1)) == 1


def _type_until_it_sticks(end: int, line: bytes) -> int:
    """How many lines went in before the adapter let the client wait."""
    typed = stuck = 0
    while typed < 20_000 and stuck < LOOKS:
        try:
            os.write(end, line)
            typed, stuck = typed + 1, 0
        except BlockingIOError:
            time.sleep(0.01)
            stuck += 1
    return typed


def _read_until(end: int, wanted: bytes) -> bytes:
    """All that comes until the wanted end, or until nothing has for a while."""
    heard, looks = b"", 0
    while not heard.endswith(wanted) and looks < 2 * LOOKS:
        try:
            heard, looks = heard + os.read(end, 65_536), 0
        except BlockingIOError:
            time.sleep(0.01)
            looks += 1
    return heard


def test_unplugged_and_back_on_the_same_port() -> None:
    with SlcanServer(stub_car(), port=kept_port()) as server:
        port = server.port
        with plugged(server) as client:
            client.sendall(b"V\r")
            assert client.recv(10) == b"V1013\r"
            server.unplug()
            assert client.recv(10) == b""
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection((HOST, port))
        server.plug()
        assert server.port == port
        with opened(server) as bus:
            send(bus, 0x7E0, ASK_SPEED)
            assert len(received(bus, 1)) == 1


def test_a_port_in_use_is_one_sentence() -> None:
    with SlcanServer(stub_car()) as server, pytest.raises(BusError) as caught:
        SlcanServer(stub_car(), port=server.port)
    assert str(caught.value) == (
        f"Port {server.port} on 127.0.0.1 cannot be used (address already in use); give another "
        "with --port, or leave it out and a free one is picked."
    )


def test_a_bad_wire_damages_lines_so_that_it_can_be_seen() -> None:
    bad = Disturbance(corrupt=1.0)
    with SlcanServer(stub_car(), disturbance=bad) as server, plugged(server) as client:
        client.sendall(b"S6\rO\rt7E0802010C5555555555\rV\r")
        heard = b""
        while not heard.endswith(b"V1013\r"):
            heard += client.recv(100)
    # The damaged request never reached the car.
    assert heard == b"\r\rz\rV1013\r"
    assert bad.counts["corrupt"] == 1


def test_it_listens_on_loopback_alone() -> None:
    with SlcanServer(stub_car()) as server:
        assert server.channel == f"socket://127.0.0.1:{server.port}"


def test_closing_twice_does_no_harm(server: SlcanServer) -> None:
    server.close()
    server.close()
