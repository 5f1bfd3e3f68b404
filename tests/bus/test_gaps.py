"""Times without readings, in words: what lasted, what passed, and what it was."""

import math

from bellmouth.bus.gaps import Gaps
from bellmouth.bus.link import Woken


def test_switched_off_and_on_again() -> None:
    gaps = Gaps()
    gaps.fell_silent(12.6, 12.0, 0.2, ran=False)
    assert gaps.quiet_since_s == 12.6
    gaps.fell_silent(13.0, 12.9, 0.2, ran=False)  # the same silence, noticed again
    gaps.answers(40.0)
    gaps.read_speed(runs=False)
    assert gaps.quiet_since_s is None
    assert gaps.told() == [
        "The car went quiet at 12.00 s (give or take 0.20 s), as it does when the ignition is "
        "switched off. It answered again at 40.0 s."
    ]


def test_a_silence_that_lasts_has_no_end() -> None:
    gaps = Gaps()
    gaps.fell_silent(5.0, 4.5, 0.1, ran=True)
    assert gaps.told() == [
        "The car went quiet at 4.50 s (give or take 0.10 s), while the engine ran: contact was "
        "lost, or the ignition switched off."
    ]


def test_an_engine_that_runs_on_was_not_switched_off() -> None:
    gaps = Gaps()
    for at_s, seconds in ((10.0, 1.0), (20.0, 2.5)):
        gaps.fell_silent(at_s + 0.5, at_s, 0.1, ran=True)
        gaps.answers(at_s + seconds)
        gaps.read_speed(runs=True)
        if at_s == 10.0:
            assert gaps.told() == [
                "Contact was lost for a moment, from 10.0 s to 11.0 s, and the engine ran on: "
                "look at plug and cable."
            ]
    assert gaps.told() == [
        "Contact was lost 2 times for a moment, the longest from 20.0 s to 22.5 s, and the engine "
        "ran on: look at plug and cable."
    ]


def test_an_engine_that_stands_afterwards_may_have_been_switched_off() -> None:
    gaps = Gaps()
    gaps.fell_silent(10.5, 10.0, 0.1, ran=True)
    gaps.answers(12.0)
    gaps.read_speed(runs=False)
    gaps.read_speed(runs=True)  # started since: the first reading is what counts
    assert "or the ignition switched off" in gaps.told()[0]


def test_a_computer_that_slept() -> None:
    gaps = Gaps()
    gaps.slept(12.0, 600.0)
    assert gaps.told() == ["The computer slept from 12.0 s to 612.0 s."]


def test_an_adapter_that_was_away() -> None:
    gaps = Gaps()
    gaps.adapter(is_away=True, since_s=7.0, now_s=7.4)
    gaps.adapter(is_away=True, since_s=7.0, now_s=17.5)
    assert gaps.is_away
    assert gaps.told() == []  # the capture says itself that it ended so
    gaps.adapter(is_away=False, since_s=7.0, now_s=19.0)
    gaps.adapter(is_away=False, since_s=19.0, now_s=20.0)
    assert gaps.told() == ["The adapter was away from 7.0 s to 19.0 s."]


def test_a_car_woke_between_the_last_question_unanswered_and_its_answer() -> None:
    gaps = Gaps()
    assert gaps.woke(3.0, 3.1, None, 100.0) is None  # nobody kept silent
    gaps.unanswered(3.2)
    assert gaps.woke(3.1, 3.4, None, 100.0) is None  # an answer was lost
    gaps.unanswered(8.0)
    assert gaps.woke(3.4, 8.6, None, 100.0) == (8.0, 8.6)
    assert gaps.woke(3.4, 8.7, None, 100.0) is None  # told once


def test_who_wakes_a_car_knows_better_when_it_woke() -> None:
    gaps = Gaps()
    gaps.unanswered(8.0)
    assert gaps.woke(3.0, 9.0, Woken(108.25, 108.75), 100.0) == (8.25, 8.75)
    gaps.unanswered(8.0)
    assert gaps.woke(3.0, 9.0, Woken(-math.inf, 108.75), 100.0) == (8.0, 8.75)
    gaps.unanswered(8.0)  # that one was of an earlier waking
    assert gaps.woke(3.0, 9.0, Woken(101.0, 101.4), 100.0) == (8.0, 9.0)
