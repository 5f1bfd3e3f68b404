"""A bad wire: frames lost, late, doubled, out of order and damaged at 1 %, 5 % and 20 %.

Whatever happens, no wrong value comes out, and every value that does not come is counted. The
stub car's values tell at which request they were made, see :mod:`tests.bus.stub_car`.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from bellmouth.bus.can_link import CanLink
from bellmouth.bus.client import Client
from bellmouth.bus.link import Losses
from bellmouth.bus.wire import Wire
from bellmouth.j1979 import parameters
from bellmouth.practice.faulty import Disturbance
from bellmouth.practice.server import SlcanServer
from bellmouth.practice.virtual import BusServer
from tests.bus.stub_car import StubCar, StubNode, truth
from tests.bus.wires import channels

SETS = ((0x0C, 0x10), (0x0C,), (0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C), (0x0B, 0x10, 0x0C))
KINDS = ("drop", "delay", "duplicate", "reorder")
TIMES = int(os.environ.get("BELLMOUTH_FAULT_TIMES", "1"))
READS = {0.01: 32 * TIMES, 0.05: 12 * TIMES, 0.2: 6 * TIMES}


def _fault(dice: Disturbance, rate: float, kinds: tuple[str, ...]) -> None:
    dice._chances.update(dict.fromkeys(kinds, rate))  # from here on: discovery had a good wire


@contextmanager
def _client(interface: str, channel: str, bitrate: int | None) -> Iterator[Client]:
    # Short of patience, for here an unanswered request is no failure but the subject.
    wire = Wire(interface, channel, bitrate, Losses())
    link = CanLink(wire, 11, margin_s=0.1)
    try:
        client = Client(link)
        link.margin_s = 0.03
        yield client
    finally:
        link.close()


def _count(client: Client) -> int:
    losses = client.losses
    return losses.total() + sum(losses.seen.values())


def _read(
    client: Client, node: StubNode, number: int, *, strictly: bool, onward: bool = False
) -> int:
    """Read some sets; gives how many values came. Each must be of its own request.

    ``onward``: each is asked for as soon as the last is answered, so it was made after what the
    car had heard before the last reading.
    """
    given, earlier = 0, node.number
    for n in range(number):
        asked = SETS[n % len(SETS)]
        before, counted = node.number, _count(client)
        sample = client.read(asked, then=SETS[(n + 1) % len(SETS)] if onward else ())
        since = min(before, earlier) if onward else before
        earlier = before
        possible = range(since + strictly, node.number + 1)
        for one in set(asked) - set(sample.missing):
            name = parameters.by_identifier(one)[0].name
            made = [parameters.decode(one, truth(one, k))[name] for k in possible]
            assert sample.values[name] in made, (name, n, sample)
            given += 1
        assert not sample.missing or _count(client) > counted, (n, sample)
    return given


@pytest.mark.parametrize("onward", [False, True])
@pytest.mark.parametrize("rate", READS)
def test_no_wrong_value_on_a_wire_that_loses_and_delays(rate: float, onward: bool) -> None:
    node, dice = StubNode(latency_s=0.0), Disturbance(seed=round(1000 * rate))
    with (
        SlcanServer(StubCar([node]), disturbance=dice) as server,
        _client("slcan", server.channel, 500_000) as client,
    ):
        _fault(dice, rate, KINDS)
        assert _read(client, node, READS[rate], strictly=True, onward=onward) > 0
    assert sum(dice.counts.values()) > 0


@pytest.mark.parametrize("onward", [False, True])
@pytest.mark.parametrize("rate", [0.05, 0.2])
def test_no_wrong_value_on_a_wire_that_damages_too(
    rate: float, onward: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    node = StubNode(latency_s=0.0, moves_every=8)
    dice = Disturbance(seed=round(2000 * rate))
    # A damaged request is the adapter's to refuse; only these come to be counted here.
    came: list[bytes] = []
    damaged_line = dice.damaged_line

    def noted(line: bytes) -> bytes:
        came.append(damaged_line(line))
        return came[-1]

    monkeypatch.setattr(dice, "damaged_line", noted)
    with (
        SlcanServer(StubCar([node]), disturbance=dice) as server,
        _client("slcan", server.channel, 500_000) as client,
    ):
        _fault(dice, rate, (*KINDS, "corrupt"))
        given = _read(client, node, READS[rate], strictly=False, onward=onward)
        assert given > 0 or rate > 0.1
        _fault(dice, 0.0, (*KINDS, "corrupt"))
        _read(client, node, 1, strictly=False)  # what still waits is taken in, too
        assert not came or client.losses.damaged > 0


def test_no_wrong_value_on_a_bus_whose_frames_are_cut() -> None:
    node = StubNode(latency_s=0.0, moves_every=8)
    dice, channel = Disturbance(seed=5), f"faults-{next(channels)}"
    with (
        BusServer(StubCar([node]), channel=channel, disturbance=dice) as server,
        _client("virtual", server.channel, None) as client,
    ):
        _fault(dice, 0.1, (*KINDS, "corrupt"))
        assert _read(client, node, 8 * TIMES, strictly=False) > 0
