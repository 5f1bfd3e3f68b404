"""The coach's faces: what stands on the screen, what sounds, what is printed."""

from io import StringIO

import numpy as np
import pytest
from rich.console import Console

from bellmouth.learning.coach import Coach
from bellmouth.learning.cue_plan import COUNT_IN_S
from bellmouth.learning.cues import TONES_HZ, Cue, seconds_words
from bellmouth.learning.packs import find_procedure, packs
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.session import Session
from bellmouth.pages.big_digits import HEIGHT, big
from bellmouth.pages.coach_card import coach_card, two_person_script
from bellmouth.pages.coach_mixer import RATE_HZ, Samples
from bellmouth.pages.coach_screen import CoachScreen
from bellmouth.pages.coach_sound import Bell, Tones, tone
from tests.learning.fake_clock import FakeClock

P3, P4 = find_procedure("P3"), find_procedure("P4")
BEGIN_S = 100.0 + COUNT_IN_S


def _frames(procedure: Procedure, *moments_s: float, caller: bool = False) -> list[str]:
    """What the screen shows at moments after the first action. [s]"""
    clock = FakeClock()
    out = Console(file=StringIO(), width=100, force_terminal=True, color_system=None)
    screen = CoachScreen(out, caller=caller)
    coach = Coach(Session(procedure), screen, clock)
    screen.begin(coach)
    found: list[str] = []

    def draw() -> None:
        with out.capture() as capture:
            out.print(screen.picture(coach.progress(), clock.now_s()))
        found.append(capture.get())

    for moment_s in moments_s:
        clock.at(BEGIN_S + moment_s, draw)
    clock.at(BEGIN_S + max(moments_s) + 0.01, coach.stop)
    coach.run()
    draw()
    return found


def test_the_screen_says_what_now_what_next_and_how_long() -> None:
    frame, _ = _frames(P4, 13.0)
    assert "■ KEY ON" in frame
    assert "Next: Press five times, in 2 s." in frame
    assert "step 2 of 9" in frame
    assert "[████" in frame
    assert "STOP" in frame


def test_what_an_event_decides_shows_the_longest_wait() -> None:
    frame, _ = _frames(P4, 30.0)
    assert "Until the lamp stops blinking and stays on: press any key when it does" in frame
    assert "26 s at most" in frame


def test_what_is_listened_for_can_be_marked() -> None:
    frame, _ = _frames(P3, 6.0)
    assert "Any key when the plate is heard to move." in frame


def test_the_end_shows_the_safe_state() -> None:
    *_, end = _frames(P4, 13.0)
    assert "Stopped. Pedal up, key off, wait 10 s." in end


def test_a_caller_is_told_to_call() -> None:
    frame, _ = _frames(P4, 13.0, caller=True)
    assert "Call: KEY ON" in frame


def test_digits_are_as_high_and_wide_as_each_other() -> None:
    for digit in "0123456789":
        lines = big(digit)
        assert len(lines) == HEIGHT
        assert {len(line) for line in lines} == {10}
    assert len({tuple(big(digit)) for digit in "0123456789"}) == 10


@pytest.mark.parametrize("name", sorted(TONES_HZ))
def test_tones_fade_in_and_out_and_stay_in_scale(name: str) -> None:
    samples = tone(name)
    assert np.abs(samples).max() <= 0.61
    assert abs(float(samples[0])) < 0.01
    assert abs(float(samples[-1])) < 0.1
    assert 0.02 < samples.size / RATE_HZ < 1.0


def test_press_rises_and_release_falls() -> None:
    def halves(name: str) -> tuple[int, int]:
        samples = tone(name)
        crossings = np.flatnonzero(np.diff(np.sign(samples)) > 0)
        middle = samples.size // 2
        return int((crossings < middle).sum()), int((crossings >= middle).sum())

    rising, falling = halves("press"), halves("release")
    assert rising[0] < rising[1]
    assert falling[0] > falling[1]


def test_silent_cues_are_silent_and_words_come_with_their_tone() -> None:
    played: list[Samples] = []

    class Player:
        def play(self, samples: Samples) -> None:
            played.append(samples)

    word = np.ones(5, dtype=np.float32)
    sounds = Tones(Player(), {"two": word})
    sounds.sound(Cue(0.0, "lead", "two", "lead", sounds=False))
    assert played == []
    sounds.sound(Cue(0.0, "lead", "two", "lead"))
    assert played[0] is word
    assert len(played) == 2


def test_the_bell_leaves_ticks_out() -> None:
    rung: list[str] = []
    bell = Bell(rung.append)
    bell.sound(Cue(0.0, "tick", "", "tick"))
    bell.sound(Cue(0.0, "now", "Key on", "wait", sounds=False))
    assert rung == []
    bell.sound(Cue(0.0, "now", "Key on", "wait"))
    assert rung == ["\a"]


@pytest.mark.parametrize("procedure", packs(), ids=lambda one: one.name)
def test_every_pack_fits_on_paper(procedure: Procedure) -> None:
    card = coach_card(procedure)
    for step in procedure.steps:
        assert step.say.upper() in card
    for caution in procedure.cautions:
        assert caution in card
    assert procedure.safe_state in two_person_script(procedure)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(7.0, "7 s"), (2.54, "2.5 s"), (270.0, "4 min 30 s"), (28_800.0, "8 h"), (59.99, "1 min")],
)
def test_times_in_words(seconds: float, words: str) -> None:
    assert seconds_words(seconds) == words
