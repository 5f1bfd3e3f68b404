"""A throttle that is reported as a relative position alone, in two recordings of a car."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.finding.case import solve
from bellmouth.finding.explain import moved_zero
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, stretches

_THROTTLE = "throttle_position"


def _relative(made: tuple[Stretch, ...], *names: str) -> tuple[Stretch, ...]:
    """The same stretches with the throttle's reading under other names."""
    return tuple(
        replace(
            one,
            readings={n: r for n, r in one.readings.items() if n != _THROTTLE}
            | dict.fromkeys(names, one.readings[_THROTTLE]),
        )
        for one in made
    )


@pytest.mark.parametrize(
    ("names", "references", "said"),
    [
        (("relative_throttle_position",), 1, 1),
        (("relative_throttle_position",), 0, 0),
        (("relative_throttle_position", "commanded_throttle_actuator"), 1, 0),
        (("relative_throttle_position", _THROTTLE), 1, 0),
        ((), 1, 0),
    ],
)
def test_it_is_said_where_only_the_relative_one_is_there_twice(
    names: tuple[str, ...], references: int, said: int
) -> None:
    made = _relative(stretches(), *names)
    case = solve(made, [made] * references, car())
    assert len(list(moved_zero(case.observations))) == said


def test_it_is_not_said_where_one_recording_has_no_throttle() -> None:
    made = _relative(stretches(), "relative_throttle_position")
    case = solve(made, [_relative(stretches())], car())
    assert np.ptp(case.observations.recording) > 0
    assert not list(moved_zero(case.observations))
