"""Values are believed only where they fit the question and a second answer bears them out."""

import pytest

from bellmouth.bus.asking import Asker
from bellmouth.bus.habits import Habits
from bellmouth.bus.sampling import Doubt, Sampler, agree
from bellmouth.errors import BellmouthError
from tests.bus.fake_link import Alter, FakeLink
from tests.bus.stub_car import StubCar, StubNode

STEADY = {0x0C: b"\x0a\xf0", 0x0D: b"\x00", 0x05: b"\x7b", 0x10: b"\x00\xe6", 0x03: b"\x02\x00"}
RPM = 700.0


def _sampler(node: StubNode, alter: Alter | None = None) -> tuple[Sampler, FakeLink, Asker]:
    link = FakeLink(StubCar([node]))
    if alter is not None:
        link.alter = alter
    asker = Asker(link)
    doubt = Doubt(lambda: link.losses.damaged + asker.malformed)
    return Sampler(asker, node.address, Habits(), doubt), link, asker


def _node() -> StubNode:
    return StubNode(parameters=tuple(STEADY), values=STEADY)


def test_values_come_with_their_interval() -> None:
    sampler, _, _ = _sampler(_node())
    sample = sampler.read((0x0C, 0x0D))
    assert sample.values == {"engine_speed": RPM, "vehicle_speed": 0.0}
    assert (sample.source, sample.missing) == (0x10, ())
    assert sample.half_width_s >= 0.0


def test_one_answer_of_another_length_does_not_spoil_the_rest() -> None:
    """Two bytes where the standard has one: the company's values were lost with it each time, and
    whatever moved was doubted for as long as it was asked."""
    number = iter(range(1000, 9000, 300))
    node = _node()
    node.parameters = (*STEADY, 0x46)
    node.values = {**STEADY, 0x46: b"\x41\x00"}
    sampler, _, asker = _sampler(node)
    sampler.read((0x0C, 0x0D, 0x05, 0x10, 0x03))  # so many have been answered together
    for _ in range(6):
        sample = sampler.read((0x0C, 0x0D, 0x05, 0x46))
    assert sampler.habits.refused == {0x46: "its answer contradicts the standard"}
    assert sampler.habits.most == 6
    assert sample.missing == (0x46,)
    malformed = asker.malformed
    for _ in range(6):
        node.values = {**node.values, 0x0C: next(number).to_bytes(2, "big")}
        assert sampler.read((0x0C, 0x0D, 0x05, 0x46)).missing == (0x46,)
    assert asker.malformed == malformed


def test_nobody_answers() -> None:
    sampler, link, _ = _sampler(_node())
    link.car.awake = False
    sample = sampler.read((0x0C, 0x0D))
    assert (sample.values, sample.missing, sample.source) == ({}, (0x0C, 0x0D), None)


@pytest.mark.parametrize("backwards", [False, True])
def test_answers_in_another_order_are_understood(*, backwards: bool) -> None:
    node = _node()
    node.backwards = backwards
    sampler, _, asker = _sampler(node)
    for _ in range(4):
        assert sampler.read((0x0C, 0x0D, 0x05)).values["engine_coolant_temperature"] == 83.0
    assert asker.losses.stray == 0
    assert sampler.habits.in_order is not backwards


def test_a_reply_in_the_order_of_the_last_request_is_asked_again() -> None:
    belated = [b""]

    def alter(_source: int, request: bytes, reply: bytes) -> bytes:
        if len(request) > 2 and belated[0]:
            reply, belated[0] = belated[0], b""
        return reply

    sampler, link, asker = _sampler(_node(), alter)
    sampler.read((0x0C, 0x0D))
    link.losses.stray = 1  # something came late before
    order = link.sent[-1][0][1:]
    old = {0x0C: b"\x0c\x11\x11", 0x0D: b"\x0d\x09"}
    belated[0] = b"\x41" + b"".join(old[one] for one in order)
    assert sampler.read((0x0C, 0x0D)).values == {"engine_speed": RPM, "vehicle_speed": 0.0}
    assert asker.losses.stray == 2  # the one that the link threw away, and this


@pytest.mark.parametrize("reply", ["410C0A", "410C0AF000", "410C0AF00D", "41", "410C0AF00C0AF0"])
def test_a_reply_one_byte_short_or_long_is_no_value(reply: str) -> None:
    sampler, _, asker = _sampler(_node(), lambda *_: bytes.fromhex(reply))
    sample = sampler.read((0x0C,))
    assert (sample.values, sample.missing) == ({}, (0x0C,))
    assert asker.malformed == 1
    assert asker.losses.malformed == 1


def test_a_parameter_nobody_asked_for_is_no_value() -> None:
    sampler, _, asker = _sampler(_node(), lambda *_: bytes.fromhex("410C0AF00F3C"))
    assert sampler.read((0x0C, 0x0D)).values == {}
    assert asker.losses.stray >= 1


def test_a_controller_that_refuses_company_gives_all_alone() -> None:
    node = _node()
    node.most = 2
    sampler, _, _ = _sampler(node)
    for _ in range(3):
        assert sampler.read((0x0C, 0x0D, 0x05, 0x10)).missing == ()
    assert sampler.habits.most == 2
    node.heard.clear()
    assert sampler.read((0x0C, 0x0D, 0x05, 0x10)).missing == ()
    assert len(node.heard) == 2


def test_a_controller_that_keeps_silent_in_company_gives_all_alone() -> None:
    node = _node()
    node.most, node.too_many = 1, None
    sampler, _, _ = _sampler(node)
    for _ in range(6):
        assert sampler.read((0x0C, 0x0D)).missing == ()
    assert sampler.habits.most == 1
    assert sampler.habits.refused == {}


def test_what_is_left_out_in_company_is_got_alone() -> None:
    node = _node()
    node.skips = (0x10,)
    sampler, _, _ = _sampler(node)
    for _ in range(6):
        assert sampler.read((0x0C, 0x10)).values["mass_air_flow"] == 2.3
    assert sampler.habits.plan((0x0C, 0x10)) == [(0x0C,), (0x10,)]


def test_what_is_claimed_and_refused_is_asked_no_more() -> None:
    node = _node()
    node.refuses = (0x10,)
    sampler, _, asker = _sampler(node)
    for _ in range(4):
        sample = sampler.read((0x0C, 0x10))
        assert (sample.values, sample.missing) == ({"engine_speed": RPM}, (0x10,))
    assert sampler.habits.refused == {0x10: "sub-function not supported"}
    node.heard.clear()
    sampler.read((0x0C, 0x10))
    assert node.heard == [b"\x01\x0c"]
    assert asker.silence is None


def test_a_busy_controller_is_not_taken_to_refuse_for_good() -> None:
    sampler, _, _ = _sampler(_node(), lambda *_: bytes.fromhex("7F0121"))
    for _ in range(5):
        assert sampler.read((0x0C,)).missing == (0x0C,)
    assert sampler.habits.refused == {}


def test_an_unknown_identifier_is_the_callers_mistake() -> None:
    sampler, link, _ = _sampler(_node())
    with pytest.raises(BellmouthError, match="Parameter FE is not in the table"):
        sampler.read((0xFE,))
    assert link.sent == []


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def test_a_link_without_damage_is_not_doubted() -> None:
    doubt = Doubt(lambda: 0, Clock())
    assert not doubt.is_on


def test_damage_is_doubted_for_a_while() -> None:
    clock, damage = Clock(), [0]
    doubt = Doubt(lambda: damage[0], clock)
    damage[0] = 1
    assert doubt.is_on
    clock.now = 29.0
    assert doubt.is_on
    clock.now = 31.0
    assert not doubt.is_on


def test_a_reading_is_borne_out_by_the_last_one_if_that_is_recent() -> None:
    clock = Clock()
    doubt = Doubt(lambda: 1, clock)
    assert doubt.unsure(0x10, {0x0C: b"\x0a\xf0"}) == [0x0C]
    clock.now = 0.5
    assert doubt.unsure(0x10, {0x0C: b"\x0a\xf2"}) == []
    assert doubt.unsure(0x11, {0x0C: b"\x0a\xf2"}) == [0x0C]
    clock.now = 5.0
    assert doubt.unsure(0x10, {0x0C: b"\x0a\xf2"}) == [0x0C]


@pytest.mark.parametrize(
    ("identifier", "one", "other", "same"),
    [
        (0x0C, "0AF0", "0AF0", True),
        (0x0C, "0AF0", "0AF4", True),  # 700 and 701 rpm
        (0x0C, "0AF0", "0BF0", False),  # 700 and 764 rpm
        (0x05, "7B", "7C", True),  # one step
        (0x05, "7B", "7E", False),
        (0x03, "0200", "0400", False),  # a code is the same or not
        (0x14, "5A80", "5AFF", False),  # available, and not
        (0x0C, "0AF0", "", False),
    ],
)
def test_two_readings_agree(identifier: int, one: str, other: str, *, same: bool) -> None:
    assert agree(identifier, bytes.fromhex(one), bytes.fromhex(other)) is same


def test_on_a_damaged_link_a_jump_is_asked_again_and_dropped() -> None:
    wrong = [False]

    def alter(_source: int, _request: bytes, reply: bytes) -> bytes:
        if wrong[0]:
            wrong[0] = False
            return reply.replace(b"\x0c\x0a\xf0", b"\x0c\xfa\xf0")  # one digit turned into another
        return reply

    sampler, link, asker = _sampler(_node(), alter)
    link.losses.damaged = 1
    assert sampler.read((0x0C, 0x0D)).values["engine_speed"] == RPM
    wrong[0] = True
    sample = sampler.read((0x0C, 0x0D))
    assert (sample.values, sample.missing) == ({"vehicle_speed": 0.0}, (0x0C,))
    assert asker.unconfirmed == 1
    assert asker.losses.seen == {"values not borne out by a second answer": 1}
    assert sampler.read((0x0C, 0x0D)).values["engine_speed"] == RPM


def test_on_a_damaged_link_a_real_jump_is_given_after_a_second_answer() -> None:
    node = _node()
    sampler, link, _ = _sampler(node)
    link.losses.damaged = 1
    sampler.read((0x0C,))
    node.values = {**STEADY, 0x0C: b"\x2e\xe0"}
    assert sampler.read((0x0C,)).values == {"engine_speed": 3000.0}
