"""Opening a car by the names users know, and one sentence for each way in which it fails."""

import errno
import os
import socket
import tty
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import can
import pytest

from bellmouth.bus.detect import detect
from bellmouth.bus.opening import open_client, open_link
from bellmouth.bus.trouble import cannot_open, nobody_answers
from bellmouth.errors import BusError
from bellmouth.j1979.addressing import Identifiers
from bellmouth.practice.answering import Reply
from bellmouth.practice.server import SlcanServer
from bellmouth.practice.virtual import BusServer
from tests.bus.peer import Peer
from tests.bus.stub_car import StubCar, StubNode
from tests.bus.wires import MARGIN_S, slcan_link


@pytest.fixture
def car() -> StubCar:
    return StubCar([StubNode(0x10), StubNode(0x18, parameters=(0x01, 0x0D))])


@pytest.mark.parametrize(
    ("bit_rate", "identifiers", "told", "addresses"),
    [
        (500_000, 11, "ISO 15765-4, 11-bit, 500 kbit/s", [0x10, 0x11]),
        (500_000, 29, "ISO 15765-4, 29-bit, 500 kbit/s", [0x10, 0x18]),
        (250_000, 11, "ISO 15765-4, 11-bit, 250 kbit/s", [0x10, 0x11]),
    ],
)
def test_bit_rate_and_identifiers_are_found(
    car: StubCar, bit_rate: int, identifiers: Identifiers, told: str, addresses: list[int]
) -> None:
    with (
        SlcanServer(car, bit_rate=bit_rate, identifiers=identifiers) as server,
        slcan_link(server.channel) as link,
    ):
        assert link.description == told
        assert link.losses.total() == 0
        assert [one.source for one in link.exchange(b"\x01\x00").answers] == addresses


@pytest.mark.parametrize("pty", [False, True])
def test_a_car_behind_a_serial_line_adapter(car: StubCar, *, pty: bool) -> None:
    with (
        SlcanServer(car, pty=pty) as server,
        open_client("slcan", server.channel, 500_000) as client,
    ):
        assert [one.address for one in client.controllers] == [0x10, 0x11]
        assert client.read((0x0C, 0x10)).missing == ()
        assert client.identity()[0].calibrations == ("STUB-1",)


def _sentence(interface: str, channel: str | None, bitrate: int | None = None) -> str:
    with pytest.raises(BusError) as caught:
        open_link(interface, channel, bitrate)
    text = str(caught.value)
    assert "\n" not in text
    assert text.endswith((".", "?"))
    return text


def test_no_adapter(tmp_path: Path) -> None:
    port = tmp_path / "ttyACM7"
    assert _sentence("slcan", str(port)) == (
        f"slcan {port}: there is no such adapter; plug it in, see which port appears "
        "(/dev/ttyACM0, /dev/ttyUSB0) and correct --channel."
    )


def test_nothing_listens() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
    channel = f"socket://127.0.0.1:{port}"
    assert _sentence("slcan", channel) == (
        f"slcan {channel}: nothing listens there; start the practice car there (bellmouth practice "
        "--port N) or correct --channel."
    )


@pytest.mark.parametrize("interface", ["slcan", "kline"])
def test_no_channel(interface: str) -> None:
    assert "--channel is missing; give the" in _sentence(interface, None)


def test_an_unknown_interface() -> None:
    text = _sentence("slcam", "x")
    assert text.startswith("slcam x: no interface of that name; ")
    assert 'did you mean "slcan"?' in text


def test_a_channel_that_is_no_serial_port(tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("hello", "utf-8")
    told = "; correct --channel (/dev/ttyACM0, /dev/ttyUSB0)."
    assert _sentence("slcan", str(file)) == f"slcan {file}: that is no serial port{told}"
    assert _sentence("kline", str(tmp_path)) == (
        f"kline {tmp_path}: that is a folder, not a serial port{told}"
    )


def test_a_socket_without_its_port() -> None:
    assert _sentence("slcan", "socket://127.0.0.1") == (
        "slcan socket://127.0.0.1: the port is missing; write --channel socket://127.0.0.1:PORT."
    )


# All that can be tried without their adapters: neither sends to a network nor stays in-process.
@pytest.mark.parametrize("channel", ["0", None])
@pytest.mark.parametrize(
    "interface", sorted(can.VALID_INTERFACES - {"udp_multicast", "virtual", "socketcand"})
)
def test_every_interface_without_its_driver_or_adapter(
    interface: str, channel: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some back ends raise a NameError, or an ImportError from deep inside."""
    monkeypatch.setattr(can.BusABC, "__del__", lambda _: None)  # of the half-built ones
    text = _sentence(interface, channel)
    assert text.startswith(f"{interface} {channel}: " if channel else f"{interface}: ")
    assert "positional argument" not in text


def test_a_driver_that_is_not_installed() -> None:
    text = str(cannot_open("kvaser", "0", NameError("name 'canOpen' is not defined")))
    assert text == (
        "kvaser 0: the driver of such an adapter is not installed here (name 'canOpen' is not "
        "defined); install what its maker gives, or use an adapter that needs no driver "
        "(--interface slcan)."
    )


def test_whose_port_it_is_is_said_where_that_helps(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    port = tmp_path / "ttyUSB0"
    port.touch()
    monkeypatch.setattr("grp.getgrgid", lambda _: SimpleNamespace(gr_name="uucp"))
    refused = PermissionError(errno.EACCES, "Permission denied")
    port.chmod(0o660)
    assert str(cannot_open("kline", str(port), refused)) == (
        f'kline {port}: no permission to use it; it belongs to the group "uucp": let your account '
        "into that (sudo usermod -aG uucp YOUR-NAME), log in again and try once more."
    )
    port.chmod(0o600)
    assert "the group that owns it (often dialout)" in str(cannot_open("kline", str(port), refused))


def test_bit_rates_are_for_can() -> None:
    assert _sentence("kline", "/dev/null", 500_000).startswith("kline: --bitrate is for CAN")


def test_an_odd_bit_rate(car: StubCar) -> None:
    with SlcanServer(car) as server:
        text = _sentence("slcan", server.channel, 123_456)
    assert text == (
        f"slcan {server.channel}: 123456 bit/s is none of the speeds of a serial-line CAN adapter "
        "(10000, 20000, 50000, 100000, 125000, 250000, 500000, 750000, 1000000); correct "
        "--bitrate, or leave it out to have it found."
    )


@pytest.fixture
def once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bellmouth.bus.detect._TRIES", 1)


@pytest.mark.usefixtures("once")
def test_the_ignition_is_off(car: StubCar) -> None:
    car.awake = False
    with SlcanServer(car) as server:
        text = _sentence("slcan", server.channel)
        assert text == (
            f"slcan {server.channel}: nobody answers (tried 11-bit and 29-bit identifiers at 500 "
            "and 250 kbit/s); switch the ignition on, check the plug at the car, or try the K line "
            "(--interface kline) on an older car."
        )


@pytest.mark.usefixtures("once")
def test_a_wrong_bit_rate(car: StubCar) -> None:
    with SlcanServer(car, bit_rate=250_000) as server:
        text = _sentence("slcan", server.channel, 500_000)
    assert "nobody answers (tried 11-bit and 29-bit identifiers at 500 kbit/s)" in text
    assert "leave --bitrate out to have it found" in text


@pytest.mark.usefixtures("once")
def test_a_car_that_speaks_something_else() -> None:
    with Peer(lambda _identifier, _data: [(0.0, 0x123, "0102030405060708")]) as peer:
        text = _sentence("virtual", peer.channel)
    assert "there is traffic on the bus but no controller answers" in text
    assert "--interface kline" in text


@pytest.fixture
def mute_port() -> Iterator[str]:
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    yield os.ttyname(theirs)
    os.close(theirs)
    os.close(ours)


def test_what_is_no_serial_line_adapter(mute_port: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bellmouth.bus.serial_line._WAKE_S", 0.05)
    monkeypatch.setattr("bellmouth.bus.serial_line._ACK_S", 0.05)
    with pytest.raises(BusError, match="does not answer as a serial-line CAN adapter does"):
        detect("slcan", mute_port, 500_000, margin_s=0.0)


@pytest.mark.parametrize(
    ("number", "told"),
    [
        (errno.EACCES, "no permission to use it; let your account into the group that owns it"),
        (errno.EPERM, "no permission to use it"),
        (errno.EBUSY, "another program holds it; close that program"),
        (errno.ENODEV, "there is no such adapter; list them with: ip link show type can"),
        (errno.ENETDOWN, "the interface is down; bring it up first (ip link set can0 up type can"),
        (errno.EIO, "cannot be opened (Input/output error)"),
    ],
)
def test_what_the_system_says(number: int, told: str) -> None:
    assert told in str(cannot_open("socketcan", "can0", OSError(number, os.strerror(number))))


def test_what_the_system_says_is_found_in_words_and_causes() -> None:
    error = RuntimeError("could not open port")
    error.__cause__ = OSError(errno.EACCES, "Permission denied")
    assert "no permission" in str(cannot_open("slcan", "/dev/ttyACM0", error))
    said = RuntimeError("[Errno 13] could not open port /dev/ttyACM0")
    assert "no permission" in str(cannot_open("slcan", "/dev/ttyACM0", said))


def test_what_was_noticed_meanwhile_says_what_to_try() -> None:
    tried = "tried 11-bit identifiers"
    common = {"heard": 0, "damaged": 0, "refused": 0}
    damaged = nobody_answers("x", tried, **{**common, "damaged": 3}, acknowledges=True, given=False)
    refused = nobody_answers("x", tried, **{**common, "refused": 3}, acknowledges=True, given=False)
    assert "only damaged characters arrive" in str(damaged)
    assert "cannot put a question on the bus" in str(refused)


@pytest.mark.usefixtures("once")
def test_errors_on_the_bus_are_no_damaged_characters() -> None:
    """With the ignition off nobody acknowledges, and the adapter's driver says so."""
    peers: list[Peer] = []

    def script(_identifier: int, _data: bytes) -> list[tuple[float, int, str]]:
        peers[0].put(can.Message(is_error_frame=True, arbitration_id=0x04, data=bytes(8)))
        return []

    with Peer(script) as peer:
        peers.append(peer)
        with pytest.raises(BusError) as caught:
            detect("virtual", peer.channel, margin_s=MARGIN_S)
    assert str(caught.value) == (
        f"virtual {peer.channel}: the adapter cannot put a question on the bus (tried 11-bit and "
        "29-bit identifiers); switch the ignition on, check its plug at the car and the bit rate."
    )


def test_a_failed_search_lets_go_of_the_adapter(car: StubCar) -> None:
    car.awake = False
    with SlcanServer(car, pty=True) as server:
        with pytest.raises(BusError):
            detect("slcan", server.channel, 500_000, margin_s=0.0)
        car.awake = True
        link = detect("slcan", server.channel, 500_000, margin_s=MARGIN_S)
        link.close()


def test_a_car_that_always_answers_late_is_waited_for() -> None:
    """An adapter over the air adds a third of a second; no answer is taken for another's."""
    engine = StubNode(latency_s=0.35)
    with (
        BusServer(StubCar([engine]), channel="late") as server,
        closing(detect("virtual", server.channel, margin_s=0.05)) as link,
    ):
        for one in (0x0C, 0x10, 0x0C, 0x10):
            exchange = link.exchange(bytes((1, one)), 0x10)
            (answer,) = exchange.answers
            assert answer.payload[1] == one
            at_s, _ = engine.made[one][-1]
            assert exchange.sent_s <= at_s <= answer.received_s
        assert link.losses.total() == 0


def test_one_answer_that_is_late_makes_no_slow_link() -> None:
    engine = StubNode(latency_s=0.35)
    with BusServer(StubCar([engine]), channel="late-once") as server:

        def hurry(payload: bytes, *, functional: bool) -> Sequence[Reply]:
            answer = StubNode.answer(engine, payload, functional=functional)
            engine.latency_s = 0.001
            return answer

        engine.answer = hurry  # type: ignore[method-assign]
        with closing(detect("virtual", server.channel, margin_s=0.2)) as link:
            assert link.margin_s == 0.2


def test_a_port_that_another_program_holds_is_refused_and_free_again_after_it(car: StubCar) -> None:
    """Each would read what the other asked for."""
    with SlcanServer(car, pty=True) as server:
        with slcan_link(server.channel, 500_000) as link:
            with pytest.raises(BusError) as caught:
                detect("slcan", server.channel)
            assert link.exchange(b"\x01\x00").answers
        assert str(caught.value) == (
            f"slcan {server.channel}: another program holds it; close that program and try again."
        )
        with slcan_link(server.channel, 500_000) as link:
            assert link.exchange(b"\x01\x00").answers
