"""A coached attempt over a K line on a virtual clock: the car's own verdict is the truth."""

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


def test_the_pedal_is_sampled_closely_enough_for_no_press_to_hide() -> None:
    done = coach_over_kline(find_procedure("P2"), Person(STEADY, 4), late_s=0.001)
    assert done.recording is not None
    time = done.recording.series[PEDAL].time_s
    steps = time[1:] - time[:-1]
    assert max(steps[steps < 1.0]) < 0.25
