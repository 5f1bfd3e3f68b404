"""Only reading services are ever sent, silence is noticed, and what is kept is said twice."""

import pytest

from bellmouth.bus.asking import READ_SERVICES, Asker
from tests.bus.fake_link import FakeLink
from tests.bus.stub_car import StubCar, StubNode


def test_the_services_that_read() -> None:
    assert sorted(READ_SERVICES) == [0x01, 0x02, 0x03, 0x07, 0x09, 0x0A]


@pytest.mark.parametrize("service", sorted(set(range(0x100)) - READ_SERVICES))
def test_nothing_else_is_ever_sent(service: int) -> None:
    link = FakeLink()
    with pytest.raises(ValueError, match="is never sent"):
        Asker(link).ask(bytes((service, 0x00)))
    assert link.sent == []


def test_silence_is_noticed_with_its_time() -> None:
    link = FakeLink()
    asker = Asker(link)
    answered_s = asker.ask(b"\x01\x0c", 0x10).answers[0].received_s
    link.car.awake = False
    asker.ask(b"\x01\x0c", 0x10)
    assert asker.silence is None  # one lost answer is no silence
    asker.ask(b"\x01\x0c", 0x10)
    silence = asker.silence
    assert silence is not None
    assert silence.last_answer_s == answered_s
    assert silence.first_unanswered_s >= answered_s
    assert silence.time_s == pytest.approx(answered_s + silence.half_width_s)
    link.car.awake = True
    asker.ask(b"\x01\x0c", 0x10)
    assert asker.silence is None


def test_a_parameter_nobody_knows_is_no_silence() -> None:
    link = FakeLink()
    asker = Asker(link)
    asker.ask(b"\x01\x0c", 0x10)
    for _ in range(6):
        asker.ask(b"\x01\x46")  # asked of all, met with silence
    assert asker.silence is None


def test_what_is_kept_is_said_twice() -> None:
    answers = iter([b"\x43\x01\x01\x71", b"\x43\x01\x01\x79", b"\x43\x01\x01\x71"])
    link = FakeLink(alter=lambda *_: next(answers))
    assert Asker(link).ask_surely(b"\x03", 0x10) == b"\x43\x01\x01\x71"
    assert len(link.sent) == 3


def test_what_is_never_said_twice_is_not_known() -> None:
    number = iter(range(100))
    link = FakeLink(alter=lambda *_: bytes((0x43, 0x01, 0x01, next(number))))
    assert Asker(link).ask_surely(b"\x03", 0x10) is None


def test_who_is_busy_is_asked_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bellmouth.bus.asking.time.sleep", lambda _seconds: None)
    answers = iter([b"\x7f\x03\x21"] * 3 + [b"\x43\x01\x01\x71"] * 2)
    link = FakeLink(alter=lambda *_: next(answers))
    assert Asker(link).ask_surely(b"\x03", 0x10) == b"\x43\x01\x01\x71"
    link.alter = lambda *_: b"\x7f\x03\x21"
    assert Asker(link).ask_surely(b"\x03", 0x10) is None


def test_a_service_without_answer_is_given_up_soon_on_a_good_link() -> None:
    link = FakeLink(alter=lambda _source, request, reply: None if request == b"\x0a" else reply)
    asker = Asker(link)
    assert asker.ask_surely(b"\x0a", 0x10) is None
    assert sum(payload == b"\x0a" for payload, _ in link.sent) == 3


def test_everybody_is_heard_though_some_answers_are_lost() -> None:
    lost = iter([True, False, False, True] + [False] * 50)
    link = FakeLink(StubCar([StubNode(0x10), StubNode(0x11)]))
    link.alter = lambda _source, _request, reply: None if next(lost) else reply
    asker = Asker(link)
    assert set(asker.ask_everybody(b"\x01\x00")) == {0x10, 0x11}
    assert asker.is_damaged
