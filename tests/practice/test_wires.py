import pytest

from bellmouth.errors import BusError
from bellmouth.practice.wires import WireChoice, serve
from tests.practice.stub_car import stub_car


@pytest.mark.parametrize(
    ("choice", "interface", "channel"),
    [
        (WireChoice(), "slcan", "socket://127.0.0.1:"),
        (WireChoice(pty=True), "slcan", "/dev/"),
        (WireChoice(kline=True), "kline", "/dev/"),
    ],
)
def test_each_wire_says_how_to_reach_it(choice: WireChoice, interface: str, channel: str) -> None:
    served = serve(stub_car(), choice)
    try:
        assert served.interface == interface
        assert served.channel.startswith(channel)
        assert served.failure is None
    finally:
        served.close()


@pytest.mark.parametrize(
    ("options", "text"),
    [
        (
            {"port": 5000, "kline": True},
            "--port and --kline: a practice car hangs on one wire; choose one.",
        ),
        (
            {"interface": "socketcan"},
            "--interface and --channel go together, such as socketcan and vcan0.",
        ),
        (
            {"interface": "virtual", "channel": "x"},
            "The interface virtual stays inside one program, so no other could reach this car; "
            "use --port or --pty.",
        ),
        (
            {"kline": True, "bit_rate": 500_000},
            "--bitrate is for CAN; leave it out, the K line has its own speed.",
        ),
        (
            {"bit_rate": 33_333},
            "--bitrate 33333: a serial-line adapter has no such speed; use one of 10000, 20000, "
            "50000, 100000, 125000, 250000, 500000, 750000, 1000000.",
        ),
    ],
)
def test_a_wire_that_makes_no_sense_is_one_sentence(options: dict[str, object], text: str) -> None:
    with pytest.raises(BusError) as caught:
        WireChoice(**options)  # type: ignore[arg-type]
    assert str(caught.value) == text
