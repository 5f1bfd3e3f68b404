"""Sounds begin at their exact sample, however late the library's thread is let in."""

import math
from functools import partial
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from bellmouth.learning.coach import Coach
from bellmouth.learning.cue_plan import COUNT_IN_S
from bellmouth.learning.cues import Cue
from bellmouth.learning.packs import find_procedure
from bellmouth.learning.session import Session
from bellmouth.pages.coach_mixer import BUFFER_S, RATE_HZ, Mixer, Samples
from bellmouth.pages.coach_sound import Tones
from tests.learning.fake_clock import FakeClock

BLOCK = 512
#: The card's clock shows so much more than the computer's. [s]
DIFFERS_S = 1234.5


class Card:
    """A sound card that asks a buffer ahead for block after block, and keeps what it is given.

    Sample 0 is heard ``BUFFER_S`` after the start; ``late_s`` is how late each question comes.
    """

    def __init__(self, clock: FakeClock, late_s: float = 0.0) -> None:
        self.clock, self.late_s = clock, late_s
        self.began_s = clock.time_s
        self.heard: list[Samples] = []
        self.underflow = False
        self._asking_s = -math.inf

    def now_s(self) -> float:
        """The computer's clock, also within a question."""
        return self._asking_s if math.isfinite(self._asking_s) else self.clock.time_s

    def OutputStream(self, **asked: Any) -> Any:  # noqa: N802 - the library's name
        self._fill = asked["callback"]
        return SimpleNamespace(start=lambda: None, stop=lambda: None, close=lambda: None)

    def run(self, until_s: float) -> None:
        """Ask until all that is heard before a time of the computer's clock is handed over."""
        while self.heard_until_s < until_s:
            asked_s = self.heard_until_s - BUFFER_S
            self._asking_s = asked_s + self.late_s
            out = np.zeros((BLOCK, 1), dtype=np.float32)
            times = SimpleNamespace(
                currentTime=asked_s + DIFFERS_S, outputBufferDacTime=self.heard_until_s + DIFFERS_S
            )
            self._fill(out, BLOCK, times, SimpleNamespace(output_underflow=self.underflow))
            self.heard.append(out[:, 0].copy())
        self.clock.time_s = max(self.clock.time_s, self._asking_s)
        self._asking_s = -math.inf

    @property
    def heard_until_s(self) -> float:
        return self.began_s + BUFFER_S + len(self.heard) * BLOCK / RATE_HZ

    def begins(self) -> list[int]:
        """Samples at which something begins after silence."""
        loud = np.abs(np.concatenate(self.heard)) > 0.0
        return [int(at) for at in np.flatnonzero(loud[1:] & ~loud[:-1]) + 1]

    def sample_at(self, at_s: float) -> int:
        return round((at_s - self.began_s - BUFFER_S) * RATE_HZ)


@pytest.mark.parametrize("at_s", [100.5, 100.731, 101.2345])
def test_a_placed_sound_begins_at_its_sample(at_s: float) -> None:
    clock = FakeClock()
    card = Card(clock)
    mixer = Mixer(card, BUFFER_S, card.now_s)
    assert mixer.place(np.ones(1000, dtype=np.float32), at_s) is not None
    card.run(102.0)
    assert card.begins() == [card.sample_at(at_s)]
    # A sound longer than a block goes on to its end.
    assert int(np.concatenate(card.heard).sum()) == 1000


def test_it_does_not_matter_that_the_thread_is_late_now_and_then() -> None:
    clock = FakeClock()
    card = Card(clock)
    mixer = Mixer(card, BUFFER_S, card.now_s)
    card.run(100.4)
    card.late_s = 0.12
    mixer.place(np.ones(10, dtype=np.float32), 101.0)
    card.run(102.0)
    assert card.begins() == [card.sample_at(101.0)]


def test_what_was_taken_back_is_silent_and_what_is_played_comes_at_once() -> None:
    clock = FakeClock()
    card = Card(clock)
    mixer = Mixer(card, BUFFER_S, card.now_s)
    token = mixer.place(np.ones(10, dtype=np.float32), 101.0)
    assert token is not None
    mixer.withdraw(token)
    card.run(100.5)
    mixer.play(np.ones(10, dtype=np.float32))
    played_from = len(card.heard) * BLOCK
    card.run(102.0)
    assert card.begins() == [played_from]


def test_after_samples_were_missed_the_card_is_measured_anew() -> None:
    clock = FakeClock()
    card = Card(clock)
    mixer = Mixer(card, BUFFER_S, card.now_s)
    mixer.place(np.ones(10, dtype=np.float32), 101.5)
    card.run(100.6)
    # Everything is heard 0.2 s later than counted from now on.
    card.began_s += 0.2
    card.underflow = True
    card.run(101.0)
    card.underflow = False
    card.run(102.0)
    assert card.begins() == [card.sample_at(101.5)]


def test_what_comes_too_soon_for_the_buffer_is_not_placed() -> None:
    clock = FakeClock()
    card = Card(clock)
    mixer = Mixer(card, BUFFER_S, card.now_s)
    assert mixer.place(np.ones(10, dtype=np.float32), 100.3) is None
    played: list[Samples] = []
    tones = Tones(SimpleNamespace(play=played.append), {}, mixer)
    cue = Cue(100.3, "now", "Press", "press")
    tones.place(cue, 100.3)
    tones.sound(cue)
    assert len(played) == 1


def test_a_whole_attempt_is_placed_ahead_and_nothing_sounds_twice() -> None:
    clock = FakeClock()
    card = Card(clock)
    played: list[Samples] = []
    placed: list[float] = []

    class Watched(Mixer):
        def place(self, samples: Samples, at_s: float) -> int | None:
            placed.append(at_s - clock.time_s)
            # One sample each, so that beginnings can be counted.
            return super().place(np.sign(samples[100:101]), at_s)

    tones = Tones(SimpleNamespace(play=played.append), {}, Watched(card, BUFFER_S, card.now_s))
    session = Session(find_procedure("P3"))

    class Face:
        def cue(self, cue: Cue) -> None:
            tones.sound(cue)

    coach = Coach(session, Face(), clock, placing=tones)
    # The card asks while the attempt runs.
    for tenth in range(1, 400):
        moment_s = 100.0 + 0.1 * tenth
        clock.at(moment_s, partial(card.run, moment_s + BUFFER_S))
    coach.run()
    given = [one.cue for one in coach.given if one.cue.kind != "state"]
    due = [cue.at_s for cue in given if cue.tone and cue.sounds]
    due = [at_s for at_s in due if at_s < card.heard_until_s]
    assert len(due) > 10
    assert COUNT_IN_S > min(placed) >= 0.25
    states = [one for one in coach.given if one.cue.kind == "state"]
    assert len(played) == len(states) == 1
    begins = card.begins()
    assert {card.sample_at(at_s) for at_s in due} <= set(begins)
