"""When each action may be done: the judge's windows, laid on a clock."""

import math

import pytest

from bellmouth.learning.allowed import EVENT
from bellmouth.learning.evidence import Moment
from bellmouth.learning.packs import find_procedure, packs
from bellmouth.learning.session import Session


def begun(name: str, watched: tuple[str, ...] = ("key", "pedal", "engine")) -> Session:
    session = Session(find_procedure(name), watched=watched)
    session.begin(100.0)
    return session


def test_a_window_runs_from_where_the_action_before_it_really_was() -> None:
    session = begun("pedal-released-position")
    first, then, *_ = session.allowed()
    assert (first.action, first.from_s, first.to_s) == ("key_on", -math.inf, math.inf)
    assert first.aim_s == pytest.approx(session.began_s)
    assert then.from_s == pytest.approx(session.began_s + 2.0)
    late = session.began_s + 1.3
    session.acted("key_on", Moment(late - 0.05, late + 0.05))
    first, then, *_ = session.allowed()
    assert first.aim_s == pytest.approx(late)
    assert then.from_s == pytest.approx(late + 2.0)
    assert math.isinf(then.to_s)


def test_presses_share_one_window_and_an_event_has_its_own() -> None:
    session = begun("idle-air-learning-by-pedal")
    found = session.allowed()
    presses = [one for one in found if one.step.name == "five_presses"]
    assert [one.action for one in presses] == ["press", "release"] * 5
    last = presses[-1]
    assert last.to_s - presses[0].aim_s == pytest.approx(5.0)
    assert all(math.isinf(one.to_s) for one in presses[1:-1])
    (event,) = [one for one in found if one.action == EVENT]
    hold = next(one for one in found if one.step.name == "hold" and one.place >= 0)
    assert event.from_s - hold.aim_s == pytest.approx(14.0)
    assert event.to_s - hold.aim_s == pytest.approx(30.0)
    assert (hold.to_s - hold.from_s) == pytest.approx(1.0), "7 s after the last release, ± 0.5"


@pytest.mark.parametrize("name", [one.name for one in packs()])
def test_what_is_planned_lies_in_its_own_window(name: str) -> None:
    session = begun(name)
    found = session.allowed()
    assert found
    for one in found:
        assert one.from_s - 1e-9 <= one.aim_s <= one.to_s + 1e-9, one
    assert [one.aim_s for one in found] == sorted(one.aim_s for one in found)


def test_before_it_begins_nothing_is_on_the_clock() -> None:
    assert Session(find_procedure("pedal-released-position")).allowed() == ()
