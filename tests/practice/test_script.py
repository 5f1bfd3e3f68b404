"""Scripts, schedules and simulated people move the practice car's controls at their times."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from bellmouth.errors import BellmouthError
from bellmouth.practice.ignition import Action, Controls, Key, Schedule
from bellmouth.practice.mechanic import Mechanic, Seen
from bellmouth.practice.person import Cue, Habit, Person
from bellmouth.practice.script import actions_of, read_script

STANDING = Seen(Key.ON, False, 0.0, "on", False)
RUNNING = Seen(Key.ON, True, 700.0, "off", False)


def test_a_script_is_read_in_order_of_time(tmp_path: Path) -> None:
    path = tmp_path / "drive.toml"
    path.write_text('[[at]]\ns = 9\nkey = "start"\n\n[[at]]\ns = 1.5\nkey = "on"\nload = 0.5\n')
    assert read_script(path) == (
        Action(1.5, "key", 2.0), Action(1.5, "load", 0.5), Action(9.0, "key", 3.0),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[at]]\ns = 1\npedall_pct = 5", "drive.toml, [[at]] number 1: no control pedall_pct; "
         "did you mean pedal_pct?"),
        ('[[at]]\ns = 1\nkey = "half"', 'drive.toml, [[at]] number 1: The key has no position '
         '"half"; it has off, accessory, on, start.'),
        ("[[at]]\ns = 1\npedal_pct = 120", "drive.toml, [[at]] number 1: pedal_pct = 120 is "
         "impossible; it lies between 0 and 100."),
        ("[[at]]\nkey = 1", "drive.toml, [[at]] number 1: s, the car time in seconds, is missing."),
        ("[[at]]\ns = -1\nkey = 1", "drive.toml, [[at]] number 1: s is -1; write seconds from 0 "
         "on."),
        ("speed = 3", "drive.toml: a driver's script is made of [[at]] tables alone, such as "
         '[[at]] s = 2.0, key = "on".'),
    ],
)  # fmt: skip
def test_a_bad_script_says_where_and_what(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "drive.toml"
    path.write_text(text)
    with pytest.raises(BellmouthError) as caught:
        read_script(path)
    assert str(caught.value) == said


def test_a_script_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(BellmouthError, match=r"^gone\.toml: cannot be read \(No such file"):
        read_script(tmp_path / "gone.toml")


def test_an_unknown_control_is_refused() -> None:
    with pytest.raises(BellmouthError, match='no control "clutch"; it has key, pedal_pct'):
        actions_of([(1.0, "clutch", 1.0)])


def test_a_schedule_gives_what_is_due_in_order() -> None:
    schedule, controls = Schedule(), Controls()
    for action in actions_of([(2.0, "load", 1.0), (1.0, "key", "on"), (2.0, "load", 0.25)]):
        schedule.add(action)
    assert [a.at_s for a in schedule.due(1.5)] == [1.0]
    for action in schedule.due(2.0):
        action.apply(controls)
    assert (controls.load, len(schedule)) == (0.25, 0)


def test_the_mechanic_switches_on_waits_starts_and_goes_the_round() -> None:
    mechanic = Mechanic()
    assert mechanic.act(0.0, STANDING) == (Action(1.0, "key", Key.ON),)
    assert mechanic.act(8.9, STANDING) == ()
    assert Action(9.0, "key", Key.START) in mechanic.act(9.0, STANDING)
    held = {}
    for tenth in range(2000):
        for action in mechanic.act(10.0 + tenth / 10, RUNNING):
            held[tenth / 10] = action.value
    assert held == {60.0: 1500.0, 100.0: 2500.0, 140.0: 0.0}


def test_the_mechanic_holds_what_is_asked_a_moment_later() -> None:
    mechanic = Mechanic()
    mechanic.act(0.0, RUNNING)
    mechanic.act(0.1, RUNNING)
    mechanic.ask(1800.0, 5.0)
    assert mechanic.act(5.3, RUNNING) == ()
    assert mechanic.act(6.0, RUNNING) == (Action(6.0, "hold_rpm", 1800.0),)
    mechanic.ask(0.0, 20.0)
    assert mechanic.act(80.0, RUNNING) == (Action(80.0, "hold_rpm", 0.0),)


def test_a_person_is_late_and_uneven_as_told() -> None:
    person = Person({"press": Habit(0.2, 0.1)}, seed=3)
    actions = person.hear([Cue(float(n), "pedal_pct", 100.0) for n in range(1, 401)])
    late = np.array([a.at_s for a in actions]) - np.arange(1, 401)
    assert np.mean(late) == pytest.approx(0.2, abs=4 * 0.1 / 20)
    assert np.std(late) == pytest.approx(0.1, rel=0.15)


def test_a_person_does_one_thing_after_the_other_and_the_same_every_time() -> None:
    cues = [Cue(1.0 + n / 10, "pedal_pct", 100.0 * (n % 2)) for n in range(40)]
    once, twice = (Person({"press": Habit(0.1, 0.3)}, seed=2).hear(cues) for _ in range(2))
    assert once == twice
    assert all(b.at_s > a.at_s for a, b in pairwise(once))
