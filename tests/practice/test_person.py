"""The simulated person, alone and coached in a practice car."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.learning.judge import judge
from bellmouth.learning.packs import find_procedure
from bellmouth.practice.coached import Coached, Slips, coach_attempt, recording_of
from bellmouth.practice.ignition import Key
from bellmouth.practice.light_car import LightCar, Poll
from bellmouth.practice.person import HABITS, Cue, Habit, Kind, Person
from bellmouth.practice.polled_car import PolledCar
from bellmouth.recording.series import Floats

P1, P2, P3, P4 = (find_procedure(name) for name in ("P1", "P2", "P3", "P4"))


def _steady() -> Person:
    return Person({kind: Habit(0.05, 0.03) for kind in HABITS}, seed=1)


def _took(done: Coached, procedure: str) -> bool:
    return any(one.met for one in done.verdicts if one.procedure == procedure)


def test_the_same_seed_and_cues_give_the_same_actions() -> None:
    cues = [Cue(1.0 + second, "pedal_pct", 100.0 * (second % 2)) for second in range(6)]
    assert Person(seed=3).hear(cues) == Person(seed=3).hear(cues)
    assert Person(seed=3).hear(cues) != Person(seed=4).hear(cues)


def test_bias_and_spread_are_what_was_asked_for() -> None:
    person = Person({"key": Habit(0.3, 0.1)}, seed=1)
    done = person.hear([Cue(10.0 * turn, "key", Key.ON) for turn in range(1, 400)])
    late = np.array([action.at_s - 10.0 * turn for turn, action in enumerate(done, 1)])
    assert late.mean() == pytest.approx(0.3, abs=0.02)
    assert late.std() == pytest.approx(0.1, abs=0.01)


def test_nobody_lets_go_before_they_pressed() -> None:
    person = Person({kind: Habit(0.0, 0.5) for kind in HABITS}, seed=2)
    done = person.hear([Cue(0.3 * turn, "pedal_pct", 100.0 * (turn % 2)) for turn in range(50)])
    times = [action.at_s for action in done]
    assert times == sorted(times)


def test_errors_may_have_long_tails_and_hang_together() -> None:
    cues = [Cue(10.0 * turn, "key", Key.ON) for turn in range(1, 2000)]

    def errors(person: Person) -> Floats:
        return np.array([one.at_s for one in person.hear(cues)]) - [one.at_s for one in cues]

    habits: dict[Kind, Habit] = {"key": Habit(0.0, 0.1)}
    plain = errors(Person(habits))
    tailed = errors(Person(habits, tails=3.0))
    hanging = errors(Person(habits, carries=0.5))
    assert np.mean(np.abs(tailed) > 0.35) > 5 * np.mean(np.abs(plain) > 0.35)
    assert np.corrcoef(hanging[1:], hanging[:-1])[0, 1] == pytest.approx(0.5, abs=0.08)
    assert hanging.std() == pytest.approx(plain.std(), rel=0.1)


def test_a_steady_person_teaches_the_light_car_and_the_judge_agrees() -> None:
    done = coach_attempt(P4, LightCar(), _steady())
    assert done.session.phase == "done"
    assert _took(done, "idle_air")
    assert judge(done.recording, P4).judgement == "met"
    assert max(one.late_s for one in done.coach.given) < 0.02


def test_a_steady_person_is_coached_by_marks_alone() -> None:
    done = coach_attempt(P1, LightCar(), _steady(), live=False)
    assert done.session.phase == "done"
    assert _took(done, "memory_reset")
    assert "lamp_blinks" in done.marks


def test_a_press_left_out_is_noticed_at_once() -> None:
    done = coach_attempt(P4, LightCar(), _steady(), slips=Slips(missed=1.0))
    assert done.session.phase == "lost"
    assert done.session.lost is not None
    assert done.session.lost.step == "five_presses"
    assert not _took(done, "idle_air")
    assert judge(done.recording, P4).judgement == "missed"


def test_letting_go_at_the_first_blink_is_the_other_procedure() -> None:
    done = coach_attempt(P4, LightCar(), _steady(), slips=Slips(first_blink=1.0))
    assert done.session.phase == "lost"
    assert done.session.lost is not None
    assert done.session.lost.step == "hold"
    assert not _took(done, "idle_air")
    assert judge(done.recording, P4).judgement == "missed"


@pytest.mark.parametrize("seed", range(6))
def test_coach_judge_and_controller_agree(seed: int) -> None:
    """Never met, and never coached to the end with signals, where the controller refused."""
    rng = np.random.default_rng([seed, 3])
    jitter = Habit(0.1, float(rng.uniform(0.0, 0.5)))
    person = Person(dict.fromkeys(HABITS, jitter), seed)
    procedure, truth = [(P4, "idle_air"), (P1, "memory_reset"), (P2, "pedal_released")][seed % 3]
    done = coach_attempt(
        procedure, LightCar(), person, live=seed % 2 == 0, polls_per_s=8.0, seed=seed
    )
    judged = judge(done.recording, procedure, dict(done.marks)).judgement
    if _took(done, truth):
        assert judged != "missed"
        assert done.session.phase == "done"
    else:
        assert judged != "met"


def test_a_whole_practice_car_learns_over_its_own_messages() -> None:
    """The practice car with its engine, asked by diagnostic requests as a recorder asks."""
    # Without the start at the end: an engine that runs takes its time to compute.
    procedure = replace(P1, steps=P1.steps[:-1])
    done = coach_attempt(procedure, PolledCar(seed=2), _steady(), polls_per_s=10.0)
    assert done.session.phase == "done"
    assert _took(done, "memory_reset")
    assert judge(done.recording, procedure).judgement != "missed"


def test_a_whole_practice_car_refuses_what_came_too_late() -> None:
    late = {**{kind: Habit(0.05, 0.03) for kind in HABITS}, "press": Habit(0.75, 0.02)}
    done = coach_attempt(P4, PolledCar(seed=2), Person(late, 1), polls_per_s=10.0)
    assert done.session.lost is not None
    assert done.session.lost.why.startswith("Key on: ")
    assert done.session.timings[-1].done_s - done.session.timings[-1].cued_s > 0.5
    assert not _took(done, "idle_air")
    # Broken off after one press, it may have been no attempt at all; never was it one that took.
    assert judge(done.recording, P4).judgement != "met"


def test_the_light_car_shows_what_a_controller_would() -> None:
    car = LightCar()
    assert car.poll() == Poll(0.0, None)
    car.do("key", Key.ON)
    car.do("pedal_pct", 100.0, 1.0)
    car.advance(0.5)
    up = car.poll().values
    car.advance(1.2)
    down = car.poll().values
    assert up is not None
    assert down is not None
    pedal = "accelerator_pedal_position_d"
    assert down[pedal] - up[pedal] > 60.0
    assert car.seen().lamp == "on"


def test_the_light_cars_engine_starts_and_stops_with_the_key() -> None:
    car = LightCar()
    car.do("key", Key.START)
    car.advance(0.5)
    assert 0.0 < car.speed_rpm < 400.0
    car.advance(2.0)
    assert car.seen().running
    assert car.seen().key == Key.ON
    car.do("key", Key.OFF)
    car.advance(3.0)
    assert not car.seen().running


def test_a_car_that_never_answers_gives_no_recording() -> None:
    assert recording_of([Poll(0.0, None), Poll(1.0, None)]) is None
