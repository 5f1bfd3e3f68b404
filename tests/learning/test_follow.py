"""Actions one by one against the windows: what ends an attempt, and what does not."""

import pytest

from bellmouth.learning import find_procedure
from bellmouth.learning.evidence import Moment
from bellmouth.learning.follow import Follower, Lost, Matched


def _idling(idle_s: float) -> Matched | Lost | None:
    """Idle air learning until the key is turned off so long after the engine ran. [s]"""
    follower = Follower(find_procedure("P4"), ("key", "pedal", "engine"))
    presses = [(name, 15.0 + 0.8 * n + d) for n in range(5) for name, d in _PRESS]
    actions = [("key_off", 0.0), ("key_on", 12.0), *presses, ("press", 25.6)]
    for action, at_s in actions:
        assert isinstance(follower.saw(action, Moment(at_s, at_s)), Matched), action
    follower.event("lamp_steady", Moment(45.6, 45.6))
    for action, at_s in [("release", 46.6), ("engine_start", 48.6)]:
        found = follower.saw(action, Moment(at_s, at_s))
        assert isinstance(found, Matched)
        assert found.lost is None
    follower.running(Moment(49.4, 49.4))
    return follower.saw("key_off", Moment(49.4 + idle_s, 49.5 + idle_s))


_PRESS = (("press", 0.0), ("release", 0.4))


def test_after_the_last_step_that_must_be_the_key_may_be_turned_off() -> None:
    """What follows the idle may be left out, and so may end with the key."""
    assert _idling(25.0) is None


@pytest.mark.parametrize("idle_s", [3.0, 19.0])
def test_a_key_that_is_turned_off_too_soon_is_told_by_how_much(idle_s: float) -> None:
    lost = _idling(idle_s)
    assert isinstance(lost, Lost)
    assert lost.step == "idle"
    assert "at least 20 s" in lost.why
    assert lost.by_s == pytest.approx(20.0 - idle_s, abs=0.1)
