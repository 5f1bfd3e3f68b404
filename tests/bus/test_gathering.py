"""How long one request is waited for, and what counts."""

import pytest

from bellmouth.bus.gathering import P2_S, P2_STAR_S, Gathering
from bellmouth.bus.link import Answer, Losses
from tests.bus.peer import hexed

MARGIN_S = 0.1


def _gathering(to: int | None = None, expect: int | None = None) -> Gathering:
    return Gathering(hexed("010C"), 100.0, to, expect, Losses(), MARGIN_S)


def _answer(text: str, source: int = 0x10, at_s: float = 100.01) -> Answer:
    return Answer(source, hexed(text), at_s)


def test_one_controller_asked_one_answer_is_enough() -> None:
    gathered = _gathering(to=0x10)
    assert not gathered.is_complete
    gathered.take(_answer("410C0AF0"))
    assert gathered.is_complete


def test_everybody_asked_all_the_time_is_waited() -> None:
    gathered = _gathering()
    gathered.take(_answer("410C0AF0"))
    gathered.take(_answer("410C0AF4", source=0x11))
    assert not gathered.is_complete
    assert gathered.deadline_s == pytest.approx(100.0 + P2_S + MARGIN_S)
    assert [one.source for one in gathered.answers.values()] == [0x10, 0x11]


def test_as_many_as_expected_are_enough() -> None:
    gathered = _gathering(expect=2)
    gathered.take(_answer("410C0AF0"))
    assert not gathered.is_complete
    gathered.take(_answer("410C0AF4", source=0x11))
    assert gathered.is_complete


def test_another_controllers_answer_is_stray() -> None:
    gathered = _gathering(to=0x10)
    gathered.take(_answer("410C0AF0", source=0x11))
    assert not gathered.answers
    assert gathered.losses.stray == 1


def test_a_belated_answer_to_another_question_is_stray() -> None:
    gathered = _gathering(to=0x10)
    gathered.take(_answer("410D00"))
    gathered.take(_answer("4300"))
    assert (gathered.losses.stray, gathered.is_complete) == (2, False)


def test_the_second_of_two_answers_is_stray() -> None:
    gathered = _gathering(expect=2)
    gathered.take(_answer("410C0AF0"))
    gathered.take(_answer("410C1AF8"))
    assert gathered.answers[0x10].payload == hexed("410C0AF0")
    assert gathered.losses.stray == 1


def test_a_promise_is_waited_for_and_not_handed_on() -> None:
    gathered = _gathering(to=0x10)
    gathered.take(_answer("7F0178", at_s=100.04))
    assert not gathered.is_complete
    assert gathered.deadline_s == pytest.approx(100.04 + P2_STAR_S + MARGIN_S)
    gathered.take(_answer("7F0178", at_s=104.0))
    assert gathered.deadline_s == pytest.approx(104.0 + P2_STAR_S + MARGIN_S)
    gathered.take(_answer("410C0AF0", at_s=106.0))
    assert gathered.is_complete
    assert gathered.losses.stray == 0


def test_a_controller_that_only_promises_is_given_up() -> None:
    gathered = _gathering(to=0x10)
    for n in range(20):
        gathered.take(_answer("7F0178", at_s=100.0 + n))
    assert gathered.deadline_s < 100.0 + 20.0
