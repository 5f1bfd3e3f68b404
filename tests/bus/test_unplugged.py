"""The adapter is unplugged and comes back, or does not; the ignition goes off and on."""

import threading
import time

import pytest

from bellmouth.bus.can_link import CanLink
from bellmouth.bus.client import Client
from bellmouth.bus.link import Losses
from bellmouth.bus.wire import Wire
from bellmouth.errors import BusError
from bellmouth.practice.server import SlcanServer
from tests.bus.stub_car import StubCar
from tests.bus.wires import MARGIN_S
from tests.ports import kept_port


def _link(port: int, patience_s: float) -> CanLink:
    wire = Wire("slcan", f"socket://127.0.0.1:{port}", 500_000, Losses())
    return CanLink(wire, 11, margin_s=MARGIN_S, patience_s=patience_s)


def test_an_adapter_unplugged_and_back_goes_on() -> None:
    port, car = kept_port(), StubCar()
    server = SlcanServer(car, port=port)
    told: list[bool] = []
    with Client(_link(port, 20.0)) as client:
        client.watch_adapter(told.append)
        assert client.read((0x0C,)).missing == ()
        server.close()
        back: list[SlcanServer] = []
        later = threading.Timer(0.5, lambda: back.append(SlcanServer(car, port=port)))
        later.start()
        try:
            samples = [client.read((0x0C,)) for _ in range(3)]
        finally:
            later.join()
            back[0].close()
        assert samples[0].values == {}  # lost with the adapter, and counted
        assert samples[-1].missing == ()
        assert (told[0], told[-1]) == (True, False)
        assert client.losses.reopened >= 1
        assert client.losses.unanswered >= 1
        assert client.silence is None


def test_an_adapter_that_stays_away_is_said_and_may_still_come_back() -> None:
    port, car = kept_port(), StubCar()
    server = SlcanServer(car, port=port)
    with Client(_link(port, 0.3)) as client:
        server.close()
        for _ in range(2):
            with pytest.raises(BusError, match="the adapter went away and did not come back"):
                client.read((0x0C,))
        with SlcanServer(car, port=port):
            client.read((0x0C,))
            assert client.read((0x0C,)).missing == ()


def test_ignition_off_is_noticed_with_its_uncertainty() -> None:
    car = StubCar()
    with SlcanServer(car) as server:
        wire = Wire("slcan", server.channel, 500_000, Losses())
        with Client(CanLink(wire, 11, margin_s=MARGIN_S)) as client:
            client.read((0x0C,))
            off_after = time.monotonic()
            car.awake = False
            off_before = time.monotonic()
            while client.silence is None:
                client.read((0x0C,))
            silence = client.silence
            assert silence.last_answer_s <= off_before
            assert silence.first_unanswered_s >= off_after
            assert silence.half_width_s > 0.0
            car.awake = True
            for _ in range(5):  # a busy machine may be late once
                if client.read((0x0C,)).values:
                    break
            assert client.silence is None


def test_an_adapter_that_lost_the_bus_is_opened_again() -> None:
    car = StubCar()
    with SlcanServer(car) as server:
        wire = Wire("slcan", server.channel, 500_000, Losses())
        link = CanLink(wire, 11, margin_s=MARGIN_S)
        try:
            assert link.exchange(b"\x01\x0c", 0x10).answers
            server._adapter.is_open = False  # as after bus-off: it refuses to send
            for _ in range(6):
                answers = link.exchange(b"\x01\x0c", 0x10).answers
            assert answers
            assert link.losses.reopened == 1
        finally:
            link.close()
