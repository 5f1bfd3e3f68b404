"""A trim that stands apart at one speed while less air is drawn is taken for purge."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.recording.purged import with_unreported_purge
from bellmouth.recording.stretch import Kind, Reading, Stretch


def _reading(value: float, at_limit: int = 0) -> Reading:
    return Reading(value, 0.004, 0.01, 30, 9.0, 0.0, at_limit=at_limit)


def _stretch(
    trim: float, air: float = 2.0, rpm: float = 700.0, kind: Kind = "idle", at_limit: int = 0
) -> Stretch:
    readings = {
        "engine_speed": _reading(rpm),
        "mass_air_flow": _reading(air),
        "log_total_trim_bank_1": _reading(trim, at_limit),
    }
    return Stretch(kind, 0.0, 20.0, readings, True, None)


def _marked(*found: Stretch) -> list[bool]:
    return [one.purging == 1.0 for one in with_unreported_purge(found)]


def test_of_three_idles_the_one_apart_is_marked_and_nothing_else_changes() -> None:
    found = [_stretch(-0.02), _stretch(-0.12, 1.84), _stretch(-0.025), _stretch(0.0, 6.0, 2500.0)]
    assert _marked(*found) == [False, True, False, False]
    after = with_unreported_purge(found)
    assert replace(after[1], purging=None) == found[1]


@pytest.mark.parametrize("way", [-1.0, 1.0])
def test_of_two_idles_the_one_that_draws_less_air_is_marked(way: float) -> None:
    """Vapour may be rich or lean: the valve's air is what tells."""
    assert _marked(_stretch(0.02), _stretch(0.02 + way * 0.08, 1.9)) == [False, True]
    assert _marked(_stretch(0.02), _stretch(0.02 + way * 0.08, 2.0)) == [False, False]


def test_without_a_meter_the_plate_tells_which_draws_less() -> None:
    def told(trim: float, plate: float) -> Stretch:
        one = _stretch(trim)
        readings = {**one.readings, "throttle_position": _reading(plate)}
        del readings["mass_air_flow"]
        return replace(one, readings=readings)

    assert _marked(told(0.0, 12.8), told(-0.07, 12.6)) == [False, True]
    assert _marked(told(0.0, 12.6), told(-0.07, 12.6)) == [False, False]


def test_a_leak_beside_a_load_is_no_purge() -> None:
    """The largest leak with a trim of .2: a load that asks for a fifth more moves it by .03."""
    idle, loaded = 1.8, 1.8 * 1.2
    leak = idle * np.expm1(0.2)
    trims = [float(np.log1p(leak / air)) for air in (idle, loaded)]
    assert trims[0] - trims[1] == pytest.approx(0.032, abs=0.005)
    assert _marked(_stretch(trims[0], idle), _stretch(trims[1], loaded)) == [False, False]


@pytest.mark.parametrize(
    "odd",
    [
        _stretch(-0.12, 1.84, rpm=760.0),  # another speed
        _stretch(-0.12, 1.84, kind="drive"),
        _stretch(-0.12, 1.84, at_limit=-1),
        replace(_stretch(-0.12, 1.84), warm=False),
        replace(_stretch(-0.12, 1.84), closed_loop=False),
        replace(_stretch(-0.12, 1.84), purging=0.0),  # the car says that it does not purge
    ],
    ids=["speed", "drive", "limit", "cold", "open loop", "reported"],
)
def test_what_has_another_reason_is_left_alone(odd: Stretch) -> None:
    found = with_unreported_purge([_stretch(-0.02), odd, _stretch(-0.025)])
    assert [one.purging for one in found] == [None, odd.purging, None]


def test_nothing_to_compare_with_is_nothing_marked() -> None:
    assert with_unreported_purge([]) == []
    assert _marked(_stretch(-0.3)) == [False]
    assert _marked(_stretch(-0.3), _stretch(0.0, 6.0, 2500.0)) == [False, False]
