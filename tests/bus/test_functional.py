"""Controllers that hear only what is asked of all of them."""

from collections.abc import Sequence

import pytest

from bellmouth.bus.client import Client
from bellmouth.j1979.addressing import Identifiers, functional_id, physical_id, response_id
from tests.bus.peer import Peer
from tests.bus.stub_car import VIN, StubNode
from tests.bus.wires import link_to

Frames = Sequence[tuple[float, int, str]]


class _Deaf:
    """A car whose controllers hear the functional identifier and flow control, nothing else."""

    def __init__(self, identifiers: Identifiers, *nodes: StubNode) -> None:
        self._functional = functional_id(identifiers)
        self._own = {}
        for place, node in enumerate(nodes):
            address = node.address if identifiers == 29 else 0x10 + place
            own = physical_id(address, identifiers), response_id(address, identifiers)
            self._own[own[0]] = (node, own[1])
        self._rest: dict[int, list[str]] = {}

    def __call__(self, identifier: int, data: bytes) -> Frames:
        if identifier in self._own and data[0] == 0x30:
            _, answers = self._own[identifier]
            return [(0.0, answers, one) for one in self._rest.pop(answers, [])]
        if identifier != self._functional:
            return []
        request = data[1 : 1 + data[0]]
        return [
            (0.001, answers, self._first(answers, reply.payload))
            for node, answers in self._own.values()
            for reply in node.answer(request, functional=True)
        ]

    def _first(self, answers: int, payload: bytes) -> str:
        if len(payload) <= 7:
            return (bytes((len(payload),)) + payload).ljust(8, b"\xaa").hex()
        rest = [payload[n : n + 7] for n in range(6, len(payload), 7)]
        self._rest[answers] = [
            (bytes((0x20 | n % 16,)) + one).ljust(8, b"\xaa").hex() for n, one in enumerate(rest, 1)
        ]
        return (bytes((0x10, len(payload))) + payload[:6]).hex()


@pytest.mark.parametrize("identifiers", [11, 29])
def test_a_car_that_hears_only_what_is_asked_of_all_is_read(identifiers: Identifiers) -> None:
    engine, gearbox = StubNode(0x10), StubNode(0x18, parameters=(0x01, 0x0D))
    script = _Deaf(identifiers, engine, gearbox)
    with Peer(script) as peer, link_to(peer, identifiers, margin_s=0.1) as link:
        client = Client(link)
        assert client.controllers[0].supported >= {0x0C, 0x10}
        assert link.losses.unanswered == 0
        (first, second) = client.identity(mask_vin=False)
        assert first.vehicle_number == second.vehicle_number == VIN.decode()
        unanswered = link.losses.unanswered
        for number in range(20):
            sample = client.read((0x0C, 0x0D), 0x10, then=(0x0C, 0x0D))
            assert (sample.source, sample.missing) == (0x10, ()), number
        # The gearbox knows one of them and says so each time, to no harm.
        assert (link.losses.stray, link.losses.unanswered) == (0, unanswered)
        assert not client.notes
        asked = {identifier for identifier, data in peer.heard if data[0] != 0x30}
        assert functional_id(identifiers) in asked
