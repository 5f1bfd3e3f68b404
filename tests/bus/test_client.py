"""The whole conversation, over a link with no wire."""

from collections.abc import Iterator

import pytest

from bellmouth.bus.client import Client
from bellmouth.bus.reports import Clearing
from bellmouth.errors import BusError
from bellmouth.j1979 import parameters
from bellmouth.j1979.messages import MOST_PARAMETERS
from tests.bus.fake_link import FakeLink
from tests.bus.stub_car import ENGINE_PARAMETERS, StubCar, StubNode, truth

STOPPED = {0x0C: b"\x00\x00", 0x0D: b"\x00", 0x01: b"\x82\x07\x65\x04", 0x30: b"\x39"}
CODES = {
    b"\x03": [bytes.fromhex("430201710507")],
    b"\x07": [bytes.fromhex("47010171")],
    b"\x0a": [bytes.fromhex("4A00")],
    bytes.fromhex("020200"): [bytes.fromhex("4202000171")],
    bytes.fromhex("020000"): [bytes.fromhex("42000040100000")],
    bytes.fromhex("020C00"): [bytes.fromhex("420C000AF0")],
}


def _engine() -> StubNode:
    return StubNode(
        0x10, parameters=(*ENGINE_PARAMETERS, 0x30), fixed=dict(CODES), values=dict(STOPPED)
    )


@pytest.fixture
def link() -> FakeLink:
    return FakeLink(StubCar([_engine(), StubNode(0x11, parameters=(0x01, 0x0D))]))


@pytest.fixture
def client(link: FakeLink) -> Iterator[Client]:
    with Client(link) as made:
        yield made
    assert link.is_closed


def test_the_engines_controller_comes_first(client: Client) -> None:
    assert [one.address for one in client.controllers] == [0x10, 0x11]
    assert client.controllers[0].name == "ECM-EngineControl"
    assert client.controllers[0].supported == {*ENGINE_PARAMETERS, 0x30}
    assert client.description == "ISO 15765-4, 11-bit, 500 kbit/s"


def test_the_controller_that_knows_engine_speed_is_the_engines() -> None:
    car = StubCar([StubNode(0x10, parameters=(0x01, 0x0D)), StubNode(0x40)])
    assert [one.address for one in Client(FakeLink(car)).controllers] == [0x40, 0x10]


def test_nobody_answers() -> None:
    link = FakeLink()
    link.car.awake = False
    with pytest.raises(BusError) as caught:
        Client(link)
    assert str(caught.value) == (
        "Nobody answers (ISO 15765-4, 11-bit, 500 kbit/s); switch the ignition on and check the "
        "plug at the car."
    )


def test_a_link_that_loses_nearly_everything_is_said() -> None:
    link = FakeLink()
    link.alter = lambda _s, _request, reply: reply if len(link.sent) < 3 else None
    with pytest.raises(BusError, match="too much is lost on the way"):
        Client(link)


def test_values_of_two_controllers_are_not_mixed(client: Client, link: FakeLink) -> None:
    second = link.car.nodes[1]
    assert isinstance(second, StubNode)
    sample = client.read((0x0D,), controller=0x11)
    name = parameters.by_identifier(0x0D)[0].name
    assert sample.values == {name: parameters.decode(0x0D, truth(0x0D, second.number))[name]}
    assert sample.source == 0x11
    assert client.read((0x0D,)).values == {name: 0.0}


def test_a_controller_that_is_not_there(client: Client) -> None:
    with pytest.raises(BusError) as caught:
        client.read((0x0D,), controller=0x18)
    assert str(caught.value) == "No controller 18 answers; these do: 10, 11."


def test_codes_by_controller(client: Client) -> None:
    codes = client.codes()
    assert codes.confirmed == {0x10: ("P0171", "P0507"), 0x11: ()}
    assert codes.pending == {0x10: ("P0171",), 0x11: ()}
    assert codes.permanent == {0x10: (), 0x11: ()}
    assert codes.everything == ("P0171", "P0507")


def test_a_controller_that_does_not_answer_has_not_no_codes(link: FakeLink) -> None:
    engine = link.car.nodes[0]
    assert isinstance(engine, StubNode)
    engine.fixed[b"\x0a"] = [bytes.fromhex("7F0A11")]
    engine.fixed[b"\x07"] = [bytes.fromhex("4702017105")]  # the count contradicts the length
    codes = Client(link).codes()
    assert 0x10 not in codes.permanent
    assert 0x10 not in codes.pending
    assert codes.permanent == {0x11: ()}


@pytest.mark.parametrize(("count", "confirmed"), [(0, {0x10: ()}), (1, {})])
def test_who_keeps_silent_and_counts_no_code_has_none(
    count: int, confirmed: dict[int, tuple[str, ...]]
) -> None:
    node = StubNode(0x10, fixed={b"\x03": []}, values={0x01: bytes((count, 7, 0x65, 4))})
    assert Client(FakeLink(StubCar([node]))).codes().confirmed == confirmed


def test_freeze_frame(client: Client) -> None:
    (frame,) = client.freeze_frames()
    assert (frame.source, frame.code, frame.values) == (0x10, "P0171", {"engine_speed": 700.0})
    assert client.freeze_frames(()) != ()


def test_monitors(client: Client) -> None:
    status = client.monitors()[0x10]
    assert (status.lamp_on, status.code_count) == (True, 2)
    assert [n for n, s in status.monitors.items() if s == "supported incomplete"] == ["evaporative"]


def test_the_number_is_masked_unless_asked_for(client: Client) -> None:
    assert client.identity()[0].vehicle_number == "00P************01"
    assert client.identity(mask_vin=False)[0].vehicle_number == "00PBELLM0AP000001"
    assert client.identity()[0].calibrations == ("STUB-1",)
    assert client.identity()[0].verifications == ("DEADBEEF",)


def test_nothing_but_reading_is_ever_sent(client: Client, link: FakeLink) -> None:
    client.read(ENGINE_PARAMETERS)
    client.codes()
    client.freeze_frames()
    client.monitors()
    client.identity()
    client.would_clear()
    assert {payload[0] for payload, _ in link.sent} == {0x01, 0x02, 0x03, 0x07, 0x09, 0x0A}
    assert max(len(payload) for payload, _ in link.sent) == 1 + MOST_PARAMETERS


def test_clearing_loses_what_was_shown_and_is_sent_once(client: Client, link: FakeLink) -> None:
    lost = client.would_clear()
    assert lost.codes.everything == ("P0171", "P0507")
    assert [frame.code for frame in lost.freeze_frames] == ["P0171"]
    assert "catalyst" in lost.ready
    assert "evaporative" not in lost.ready
    assert (lost.warm_ups, lost.distance_km, lost.against) == (57.0, None, ())
    assert client.clear(lost).cleared == (0x10, 0x11)
    assert [payload for payload, _ in link.sent if payload[0] == 0x04] == [b"\x04"]


@pytest.mark.parametrize(
    ("identifier", "data", "told"),
    [
        (0x0C, b"\x0a\xf0", "The engine runs (700 rpm)"),
        (0x0D, b"\x05", "The car moves (5 km/h)"),
    ],
)
def test_nothing_is_cleared_while_engine_or_car_run(
    client: Client, link: FakeLink, identifier: int, data: bytes, told: str
) -> None:
    lost = client.would_clear()
    engine = link.car.nodes[0]
    assert isinstance(engine, StubNode)
    engine.values = {**STOPPED, identifier: data}  # since it was shown
    with pytest.raises(BusError, match="Nothing was cleared") as caught:
        client.clear(lost)
    assert told in str(caught.value)
    assert told in client.would_clear().against[0]
    assert b"\x04" not in [payload for payload, _ in link.sent]


def test_nothing_is_cleared_where_the_car_does_not_say(client: Client, link: FakeLink) -> None:
    lost = client.would_clear()
    link.alter = lambda _s, request, reply: reply if request[0] != 1 else None
    with pytest.raises(BusError, match="does not say whether its engine runs"):
        client.clear(lost)
    assert b"\x04" not in [payload for payload, _ in link.sent]


def test_a_controller_may_refuse_to_clear(client: Client, link: FakeLink) -> None:
    lost = client.would_clear()
    link.alter = lambda _s, request, reply: b"\x7f\x04\x22" if request == b"\x04" else reply
    cleared = client.clear(lost)
    assert (cleared.cleared, cleared.refused[0x10]) == ((), "conditions not correct")


def test_an_unanswered_clear_is_not_taken_for_done(client: Client, link: FakeLink) -> None:
    lost = client.would_clear()
    link.alter = lambda _s, request, reply: None if request == b"\x04" else reply
    with pytest.raises(BusError, match="read the codes again"):
        client.clear(lost)


def test_a_clearing_that_was_advised_against_stays_so(client: Client, link: FakeLink) -> None:
    shown = client.would_clear()
    against = Clearing(
        shown.codes, shown.freeze_frames, shown.ready, None, None, ("The engine runs.",)
    )
    with pytest.raises(BusError, match="The engine runs"):
        client.clear(against)
    assert b"\x04" not in [payload for payload, _ in link.sent]


def test_nothing_is_cleared_whose_codes_were_not_told(link: FakeLink) -> None:
    for node in link.car.nodes:
        assert isinstance(node, StubNode)
        node.fixed[b"\x03"] = [bytes.fromhex("430301710507")]  # three are counted, two come
    client = Client(link)
    lost = client.would_clear()
    assert lost.untold == (0x10, 0x11)
    with pytest.raises(BusError, match="does not say which codes it holds"):
        client.clear(lost)
    assert b"\x04" not in [payload for payload, _ in link.sent]


def test_what_another_controller_did_not_tell_is_known(link: FakeLink) -> None:
    other = link.car.nodes[1]
    assert isinstance(other, StubNode)
    other.fixed[b"\x03"] = [bytes.fromhex("7F0311")]
    lost = Client(link).would_clear()
    assert (lost.untold, lost.against) == ((0x11,), ())


def test_what_is_claimed_and_refused_is_said(link: FakeLink) -> None:
    engine = link.car.nodes[0]
    assert isinstance(engine, StubNode)
    engine.refuses = (0x10,)
    client = Client(link)
    for _ in range(3):
        assert client.read((0x0C, 0x10)).missing == (0x10,)
    assert client.notes == (
        "Controller 10 lists parameter 10 (mass_air_flow) and does not give it (sub-function not "
        "supported); it is asked no more.",
    )
    assert 0x10 not in client.controllers[0].supported


def test_the_ignition_goes_off_and_on_again(client: Client, link: FakeLink) -> None:
    client.read((0x0C,))
    assert client.silence is None
    link.car.awake = False
    for _ in range(3):
        assert client.read((0x0C, 0x0D)).source is None
    silence = client.silence
    assert silence is not None
    assert silence.last_answer_s <= silence.time_s <= silence.first_unanswered_s
    link.car.awake = True
    assert client.read((0x0C,)).values == {"engine_speed": 0.0}
    assert client.silence is None
    assert client.notes == ()


def test_maxima_replace_the_full_scale() -> None:
    node = _engine()
    node.parameters = (*ENGINE_PARAMETERS, 0x4F, 0x50)
    node.values = {
        **STOPPED,
        0x10: b"\x80\x00",
        0x0B: b"\x64",
        0x4F: b"\0\0\0\x33",
        0x50: b"\x14\0\0\0",
    }
    client = Client(FakeLink(StubCar([node])))
    values = client.read((0x10, 0x0B)).values
    assert values["intake_manifold_pressure"] == pytest.approx(200.0)  # 510 kPa full scale
    assert values["mass_air_flow"] == pytest.approx(200.0 * 0x8000 / 0xFFFF)


def test_a_full_scale_that_is_not_told_is_said() -> None:
    node = _engine()
    node.parameters = (*ENGINE_PARAMETERS, 0x4F)
    node.values = {**STOPPED, 0x4F: b"\0\0\0\x33"}
    link = FakeLink(StubCar([node]))
    assert Client(link).notes == ()
    link.alter = lambda _s, request, reply: None if request == b"\x01\x4f" else reply
    assert Client(link).notes == (
        "Controller 10 lists parameter 4F (equivalence_ratio_maximum), by which it may scale "
        "pressures and airflow in its own way, and does not tell it; check the adapter and start "
        "anew.",
    )


def test_maxima_hold_for_a_freeze_frame_too() -> None:
    node = _engine()
    node.parameters = (*ENGINE_PARAMETERS, 0x4F)
    node.values = {**STOPPED, 0x4F: b"\0\0\0\x33"}
    node.fixed[bytes.fromhex("020000")] = [bytes.fromhex("42000040200000")]  # 02 and 0B
    node.fixed[bytes.fromhex("020B00")] = [bytes.fromhex("420B0064")]
    (frame,) = Client(FakeLink(StubCar([node]))).freeze_frames()
    assert frame.values == {"intake_manifold_pressure": pytest.approx(200.0)}


def test_a_bank_told_alone_although_there_are_four_is_read_as_it_is() -> None:
    node = _engine()
    node.parameters = (*ENGINE_PARAMETERS, 0x1D)
    node.values = {**STOPPED, 0x1D: b"\x55", 0x06: b"\x8a", 0x07: b"\x74"}
    sample = Client(FakeLink(StubCar([node]))).read((0x0C, 0x06, 0x07, 0x0D))
    assert sample.values["short_term_fuel_trim_bank_1"] == 7.8125
    assert sample.missing == ()


def test_trims_of_an_engine_with_four_banks_are_read() -> None:
    node = _engine()
    node.parameters = (*ENGINE_PARAMETERS, 0x1D)
    node.values = {**STOPPED, 0x1D: b"\x55", 0x06: b"\x8a\x80", 0x07: b"\x74\x80"}
    node.fixed[bytes.fromhex("020000")] = [bytes.fromhex("42000042000000")]  # 02 and 07
    node.fixed[bytes.fromhex("020700")] = [bytes.fromhex("4207007480")]
    client = Client(FakeLink(StubCar([node])))
    sample = client.read((0x0C, 0x06, 0x07, 0x0D))
    assert sample.missing == ()
    assert sample.values["short_term_fuel_trim_bank_1"] == 7.8125
    assert sample.values["long_term_fuel_trim_bank_1"] == -9.375
    assert client.losses.total() == 0
    (frame,) = client.freeze_frames()
    assert frame.values == {"long_term_fuel_trim_bank_1": -9.375}


@pytest.mark.parametrize(("is_checked", "read"), [(True, 6), (False, 0)])
def test_damage_puts_readings_in_doubt_where_no_checksum_keeps_it_out(
    is_checked: bool, read: int
) -> None:
    node = _engine()
    link = FakeLink(StubCar([node]))
    link.is_checked = is_checked  # type: ignore[attr-defined]
    client = Client(link)
    link.losses.damaged += 1
    node.values = {one: data for one, data in STOPPED.items() if one != 0x0C}  # it moves
    samples = [client.read((0x0C,)) for _ in range(6)]
    assert sum("engine_speed" in one.values for one in samples) == read


def test_a_controller_that_cannot_be_understood_is_said(link: FakeLink) -> None:
    link.alter = lambda source, _request, reply: (
        None if source == 0x11 and len(link.sent) > 2 else reply
    )
    client = Client(link)
    assert [one.address for one in client.controllers] == [0x10]
    assert client.notes == (
        "Controller 11 answers, but what it knows could not be read; it is left out. Check the "
        "adapter and its cable, and try again.",
    )
