import can
import pytest

from bellmouth.errors import BusError
from bellmouth.practice.faulty import Disturbance
from bellmouth.practice.virtual import BusServer
from tests.practice.stub_car import SPEED, stub_car

PATIENCE_S = 10.0
SILENCE_S = 0.15


def client(channel: str) -> can.BusABC:
    return can.Bus(interface="virtual", channel=channel, ignore_config=True)


def ask(bus: can.BusABC, number: int, within_s: float = PATIENCE_S) -> list[bytes]:
    data = bytes.fromhex("02010C5555555555")
    bus.send(can.Message(arbitration_id=0x7DF, data=data, is_extended_id=False))
    found = [bus.recv(within_s) for _ in range(number)]
    return [bytes(message.data) for message in found if message is not None]


def test_the_car_answers_on_a_bus_inside_this_process() -> None:
    with BusServer(stub_car(), channel="answers") as server:
        with client(server.channel) as bus:
            assert ask(bus, 2)[0][1:5] == SPEED
        assert server.is_serving
    assert not server.is_serving


def test_a_bad_wire_loses_and_shortens_frames() -> None:
    lost = Disturbance(drop=1.0)
    with BusServer(stub_car(), channel="lost", disturbance=lost), client("lost") as bus:
        assert ask(bus, 1, SILENCE_S) == []
    bad = Disturbance(corrupt=1.0)
    server = BusServer(stub_car(), channel="cut", disturbance=bad, strict=False)
    with server, client("cut") as bus:
        assert all(len(data) < 8 for data in ask(bus, 2, SILENCE_S))


@pytest.mark.parametrize("interface", ["socketcan", "no such thing"])
def test_a_bus_that_is_not_there_is_one_sentence(interface: str) -> None:
    with pytest.raises(BusError) as caught:
        BusServer(stub_car(), interface=interface, channel="can9")
    text = str(caught.value)
    assert text.startswith(f"The bus {interface} can9 cannot be opened (")
    assert text.endswith("; check interface and channel, or leave both out and use --port.")


def test_a_bus_that_fails_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    with BusServer(stub_car(), channel="fails") as server:
        with client("fails"):
            server._bus.shutdown()
            server._thread.join(PATIENCE_S)
        assert str(server.failure) == (
            "The practice car's bus virtual fails has failed (Cannot operate on a closed bus); "
            "bring it up again and start anew."
        )
