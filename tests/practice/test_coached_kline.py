"""A coached attempt over a K line on a virtual clock: the car's own verdict is the truth."""

from dataclasses import replace

from bellmouth.learning.judge import judge
from bellmouth.learning.packs import find_procedure
from bellmouth.practice.coached_kline import coach_over_kline
from bellmouth.practice.learning_logic import Learned
from bellmouth.practice.light_car import LightCar
from bellmouth.practice.person import HABITS, Habit, Person

STEADY = {kind: Habit(0.05, 0.05) for kind in HABITS}
PEDAL = "accelerator_pedal_position_d"


def test_key_cycles_are_told_as_the_controller_takes_them() -> None:
    car = LightCar(learned=Learned(None, None, idle=False))
    done = coach_over_kline(find_procedure("P2"), Person(STEADY, 3), car=car)
    assert "pedal_released" in [one.procedure for one in done.verdicts if one.met]
    judged = judge(done.recording, "P2", dict(done.marks))
    assert judged.judgement == "met", [(line.step, line.why) for line in judged.steps]
    assert done.recording is not None
    # When the car woke is known to one try to wake it, 0.3 s of silence and the pulse itself.
    assert len(done.recording.woken) >= 2
    assert all(0.0 < high - low < 0.45 for low, high in done.recording.woken)


def test_a_time_with_the_key_off_that_was_too_short_is_never_met() -> None:
    """Half a second short, which is about what a K line knows of the key."""
    procedure = find_procedure("P2")
    steps = [
        replace(one, lasts_s=replace(one.lasts_s, about_s=10.0 - 0.45, least_s=0.0))
        if one.lasts_s and one.do == "off"
        else one
        for one in procedure.steps
    ]
    done = coach_over_kline(replace(procedure, steps=tuple(steps)), Person(STEADY, 3))
    assert not any(one.met for one in done.verdicts if one.procedure == "pedal_released")
    assert judge(done.recording, procedure, dict(done.marks)).judgement != "met"


def test_the_pedal_is_sampled_closely_enough_for_no_press_to_hide() -> None:
    done = coach_over_kline(find_procedure("P2"), Person(STEADY, 4), late_s=0.001)
    assert done.recording is not None
    time = done.recording.series[PEDAL].time_s
    steps = time[1:] - time[:-1]
    assert max(steps[steps < 1.0]) < 0.25
