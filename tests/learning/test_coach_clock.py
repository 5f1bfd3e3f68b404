"""A clock that an event stops, as the coach counts it."""

import pytest

from bellmouth.learning.packs import find_procedure
from bellmouth.learning.session import Progress
from tests.learning.test_coach import BEGIN_S, coach_of


def test_a_clock_that_the_fan_stops_runs_on_with_the_rest_left() -> None:
    procedure = find_procedure("running-idle-after-warm-up")
    coach, face, clock = coach_of(procedure)
    clock.at(BEGIN_S + 200.0, lambda: coach.mark("fan_runs"))
    clock.at(BEGIN_S + 202.0, lambda: coach.mark("fan_stops"))
    idle_s = BEGIN_S + 204.0
    clock.at(idle_s + 100.0, lambda: coach.mark("fan_runs"))
    clock.at(idle_s + 160.0, lambda: coach.mark("fan_stops"))
    coach.run()
    key_off = next(cue for cue in face.cues if cue.text == "Key off" and cue.kind == "now")
    assert key_off.at_s == pytest.approx(idle_s + 310.0 + 60.0)


def test_a_clock_that_stands_for_long_stays_in_its_step() -> None:
    """A fan that ran for longer than was left of the idle had the coach show *Key off*, and wait
    for ever."""
    coach, face, clock = coach_of(find_procedure("running-idle-after-warm-up"))
    clock.at(BEGIN_S + 200.0, lambda: coach.mark("fan_runs"))
    clock.at(BEGIN_S + 201.0, lambda: coach.mark("fan_stops"))
    idle_s = BEGIN_S + 204.0
    clock.at(idle_s + 100.0, lambda: coach.mark("fan_runs"))
    seen: list[Progress] = []
    clock.at(idle_s + 480.0, lambda: seen.append(coach.progress()))
    clock.at(idle_s + 500.0, coach.mark)  # any key: what stops the standing is awaited
    clock.at(idle_s + 2000.0, coach.stop)  # who waits for ever fails here
    coach.run()
    assert seen[0].step is not None
    assert (seen[0].step.name, seen[0].stands) == ("idle", True)
    assert seen[0].next_in_s == seen[0].left_s == pytest.approx(210.0)
    assert seen[0].listens == "the cooling fan stops"
    key_off = next(cue for cue in face.cues if cue.text == "Key off" and cue.kind == "now")
    assert key_off.at_s == pytest.approx(idle_s + 310.0 + 400.0)
    assert coach.session.phase == "done"
