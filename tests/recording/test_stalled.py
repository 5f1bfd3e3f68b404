"""An engine that came to a stand while it was recorded."""

import numpy as np
import pytest

from bellmouth.recording.quality import assess
from bellmouth.recording.series import Floats, Recording, Series
from bellmouth.recording.stalled import Stand, stands, stood_still


def recorded(*pieces: tuple[float, float], step_s: float = 0.5) -> Recording:
    """Speeds and how long each lasts. [rpm], [s]"""
    speeds, seconds = np.array(pieces).T
    rpm: Floats = np.repeat(speeds, np.round(seconds / step_s).astype(np.intp)).astype(np.float64)
    time_s: Floats = np.arange(rpm.size, dtype=np.float64) * step_s
    speed = Series("engine_speed", "rpm", time_s, rpm)
    return Recording({"engine_speed": speed}, "made.csv", samples_per_s=1.0 / step_s)


def test_a_stand_is_told_with_the_speed_before_and_when_the_engine_ran_again() -> None:
    stalled = recorded((560.0, 30.0), (300.0, 0.5), (0.0, 8.0), (220.0, 1.0), (900.0, 30.0))
    assert stands(stalled) == (Stand(30.5, 560.0, 39.5),)
    (said,) = stood_still(stalled)
    assert "at 30 s after 560 rpm, and ran again at 40 s" in said
    assert "If not, it stalled." in said
    assert "complaint" not in said
    assert (
        'it stalled: give the complaint "stalls"' in stood_still(stalled, complaint_told=False)[0]
    )
    assert said in assess(stalled).warnings


def test_a_logger_that_writes_nothing_for_want_of_an_answer_tells_no_stand() -> None:
    lost = recorded((700.0, 30.0), (0.0, 8.0), (700.0, 30.0))
    assert len(stands(lost)) == 1
    speed = lost.series["engine_speed"]
    volts = np.where(speed.value > 0, 14.1, 0.0)
    told = Series("control_module_voltage", "V", speed.time_s, volts)
    assert stands(Recording({**lost.series, told.name: told}, "made.csv")) == ()
    told = Series(told.name, "V", speed.time_s, np.maximum(volts, 12.3))
    assert len(stands(Recording({**lost.series, told.name: told}, "made.csv"))) == 1


@pytest.mark.parametrize(
    "pieces",
    [
        ((0.0, 10.0), (220.0, 1.0), (800.0, 30.0)),  # key on, then started
        ((800.0, 30.0), (0.0, 6.0)),  # switched off at the end
        ((0.0, 5.0), (220.0, 2.0), (0.0, 5.0), (800.0, 30.0)),  # did not start at first
        ((800.0, 30.0),),
        ((800.0, 30.0), (0.0, 0.5), (800.0, 30.0)),  # one answer that went wrong
        ((800.0, 30.0), (0.0, 1.0), (800.0, 30.0)),
    ],
)
def test_what_is_no_stand(pieces: tuple[tuple[float, float], ...]) -> None:
    assert stands(recorded(*pieces)) == ()
    assert stood_still(recorded(*pieces)) == []


def test_a_stand_that_goes_on_for_long_is_told_without_an_end() -> None:
    gone = recorded((640.0, 30.0), (0.0, 20.0))
    assert stands(gone) == (Stand(30.0, 640.0, None),)
    assert "again" not in stood_still(gone)[0]


def test_an_engine_that_rocks_or_is_cranked_stood_once() -> None:
    rocked = recorded((800.0, 30.0), (0.0, 1.0), (60.0, 0.5), (0.0, 9.0), (220.0, 1.0), (0.0, 2.0),
                      (220.0, 2.0), (800.0, 20.0))  # fmt: skip
    assert stands(rocked) == (Stand(30.0, 800.0, 45.5),)
    gone = recorded((800.0, 30.0), (0.0, 10.0), (60.0, 0.5), (0.0, 9.0))
    assert stands(gone) == (Stand(30.0, 800.0, None),)


def test_what_happened_in_a_hole_is_not_known() -> None:
    whole = recorded((700.0, 30.0), (0.0, 20.0), (700.0, 30.0)).series["engine_speed"]
    kept = (whole.time_s < 26.0) | (whole.time_s > 33.0)
    holed = Series("engine_speed", "rpm", whole.time_s[kept], whole.value[kept])
    assert stands(Recording({"engine_speed": holed}, "made.csv")) == ()
    assert stands(Recording({}, "made.csv")) == ()


def test_many_stands_are_one_sentence() -> None:
    often = recorded(*[(700.0, 20.0), (0.0, 5.0)] * 6, (700.0, 20.0))
    (said,) = stood_still(often)
    assert "stood still 6 times, at 20, 45, 70, 95, ... s" in said
