"""Which idle is the lowest and how long it lasts, in a drive too, and how likely it is held up."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.finding.lowest_idle import load_share, lowest_idle
from bellmouth.finding.observations import Observations, observe
from bellmouth.finding.priors import load_priors
from bellmouth.recording.stretch import Reading, Stretch
from tests.finding.garage import car, stretches

TABLE = load_priors().idle_speed


def _idle(rpm: float, start_s: float, seconds: float, read: int) -> Stretch:
    """An idle whose speed was read so many times between its beginning and its end."""
    one = stretches()[0]
    speed = Reading(rpm, 2.0, 6.0, read, 9.0, 0.0)
    readings = {**one.readings, "engine_speed": speed}
    return replace(one, readings=readings, start_s=start_s, end_s=start_s + seconds)


def _drive(*idles: Stretch) -> Observations:
    """Idles, and one point of a drive beside them."""
    return observe([*idles, replace(stretches()[2], kind="drive")], [], car())


def test_what_lies_between_the_pieces_of_a_gathered_idle_does_not_count() -> None:
    o = _drive(_idle(702.0, 0.0, 20.0, 40), _idle(760.0, 30.0, 500.0, 100))
    assert o.lasts_s[:2] == pytest.approx([20.0, 50.0])


def test_one_short_idle_on_its_mark_is_found_among_raised_ones_of_a_drive() -> None:
    idles = (_idle(702.0, 0.0, 10.0, 20), _idle(760.0, 30.0, 500.0, 200))
    driven = _drive(*idles)
    assert lowest_idle(driven, TABLE, driven.judged).speed_rpm == pytest.approx(702.0)
    standing = observe(idles, [], car())
    assert lowest_idle(standing, TABLE, standing.judged).speed_rpm == pytest.approx(760.0)


def test_a_dip_of_a_moment_is_not_where_a_drive_idles() -> None:
    o = _drive(_idle(640.0, 0.0, 4.0, 8), _idle(702.0, 30.0, 100.0, 200))
    assert lowest_idle(o, TABLE, o.judged).speed_rpm == pytest.approx(702.0)


def test_many_stops_none_of_which_lasts_are_one_level() -> None:
    o = _drive(*[_idle(700.0 + i, 40.0 * i, 20.0, 40) for i in range(18)])
    lowest = lowest_idle(o, TABLE, o.judged)
    assert lowest.levels == 1
    assert lowest.speed_rpm == pytest.approx(701.0)


@pytest.mark.parametrize(
    ("speeds", "levels"),
    [((700.0, 705.0, 712.0), 1), ((700.0, 712.0, 790.0, 800.0), 2), ((700.0, 730.0, 790.0), 3)],
)
def test_an_idle_that_rests_elsewhere_at_each_stop_is_perhaps_held_up(
    speeds: tuple[float, ...], levels: int
) -> None:
    idles = [_idle(rpm, 40.0 * i, 20.0, 40) for i, rpm in enumerate(speeds)]
    lowest = lowest_idle(_drive(*idles), TABLE, np.ones(len(idles) + 1, dtype=bool))
    assert (lowest.driven, lowest.levels) == (True, levels)
    assert load_share(lowest, TABLE) == TABLE["driven_load_share"][levels - 1]
    shares = TABLE["driven_load_share"]
    assert shares[1] < shares[0] < shares[2]


def test_idles_beside_held_speeds_are_no_drive() -> None:
    o = observe(stretches(), [], car())
    lowest = lowest_idle(o, TABLE, o.judged)
    assert not lowest.driven
    assert load_share(lowest, TABLE) == TABLE["load_share"]


def test_an_idle_of_another_recording_is_not_of_the_drive() -> None:
    drive = [_idle(760.0, 0.0, 40.0, 80), replace(stretches()[2], kind="drive")]
    o = observe(drive, [], car(), also=[stretches()])
    lowest = lowest_idle(o, TABLE, o.judged)
    assert (lowest.speed_rpm, lowest.driven) == (705.0, False)


@pytest.mark.parametrize(
    ("speeds", "coolant", "warming"),
    [
        ((900.0, 840.0, 780.0), False, 240.0),
        ((900.0, 780.0, 840.0), False, 0.0),
        ((702.0, 700.0), False, 0.0),
        ((780.0,), False, 0.0),
        ((900.0, 840.0, 780.0), True, 0.0),
    ],
)
def test_an_idle_that_falls_throughout_may_go_on_falling(
    speeds: tuple[float, ...], coolant: bool, warming: float
) -> None:
    """Where no coolant temperature says that the engine was hot."""
    idles = [_idle(rpm, 60.0 * i, 50.0, 40) for i, rpm in enumerate(speeds)]
    if coolant:
        hot = Reading(88.0, 0.3, 1.0, 40, 9.0, 0.0)
        told = {"engine_coolant_temperature": hot}
        idles = [replace(one, readings={**one.readings, **told}) for one in idles]
    o = observe(idles, [], car())
    assert lowest_idle(o, TABLE, o.judged).warming_rpm == pytest.approx(warming)
