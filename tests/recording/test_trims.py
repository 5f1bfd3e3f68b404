"""Trims at a limit: short and long clamped together, on the way there, or large and regulating;
and points of a drive that stand where the steady ones of their recording do."""

from collections.abc import Callable

import numpy as np
import pytest

from bellmouth.recording.series import Floats, Recording, Series
from bellmouth.recording.steady import stretches
from bellmouth.recording.stretch import Kind, Reading, Stretch
from bellmouth.recording.trims import driven_as_high
from tests.recording.made import LEVELS, make

ENDS = np.cumsum([level.seconds for level in LEVELS])  # key on, idle, 1500, 2500, idle
STEP = 100.0 / 128.0


def limits(
    wanted: Callable[[Floats], Floats], clamp: float, *, wander: float = 1.0, learnt: float = 0.0
) -> list[int]:
    """``at_limit`` of the total in each running stretch of a controller that wants a total and
    clamps the sum of its terms at so much; the long trim learns through the recording. [%]"""
    rng = np.random.default_rng(5)
    recording = make(LEVELS, rng, samples_per_s=12.0)
    when = np.arange(0.0, float(ENDS[-1]), 0.5)
    total = (
        wanted(when) + wander * np.sin(when / 1.7) + 0.5 * wander * rng.standard_normal(len(when))
    )
    total = np.clip(total, -clamp, clamp)
    long = np.clip(learnt + 0.08 * when * np.sign(total), -clamp, clamp)
    series = dict(recording.series)
    for name, value in (("short", total - long), ("long", long)):
        full = f"{name}_term_fuel_trim_bank_1"
        series[full] = Series(full, "%", when, np.round(value / STEP) * STEP)
    found = stretches(Recording(series, "made"))
    return [
        one.readings["log_total_trim_bank_1"].at_limit for one in found if one.kind != "engine off"
    ]


def everywhere(value: float) -> Callable[[Floats], Floats]:
    return lambda when: np.full(len(when), value)


@pytest.mark.parametrize("sign", [1, -1])
def test_a_clamped_sum_is_a_limit_while_its_terms_trade_off(sign: int) -> None:
    """The product moves by what the terms trade; their sum stands."""
    assert limits(everywhere(sign * 38.0), 28.0, learnt=sign * 10.0) == [sign] * 4


@pytest.mark.parametrize("value", [24.0, -24.0, 5.0])
def test_a_large_total_that_regulates_is_no_limit(value: float) -> None:
    assert limits(everywhere(value), 40.0, learnt=value / 2.0) == [0] * 4


def test_one_total_at_its_clamp_makes_no_limit_of_lower_ones() -> None:
    """As a large leak has it: clamped at idle, regulating above."""

    def leaking(when: Floats) -> Floats:
        return np.where((when < ENDS[1]) | (when > ENDS[3]), 40.0, 12.0)

    assert limits(leaking, 28.0) == [1, 0, 0, 1]


def test_what_still_winds_up_is_at_its_limit_where_others_are() -> None:
    """Closed loop has just begun: what it shows is less than what it asks for."""
    begun_s = float(ENDS[0]) + 18.0

    def winding(reach: float) -> Callable[[Floats], Floats]:
        return lambda when: np.minimum(1.1 * np.maximum(when - begun_s, 0.0), reach)

    assert limits(winding(40.0), 28.0, wander=0.1) == [1, 1, 1, 1]
    assert limits(winding(15.0), 28.0, wander=1.0)[0] == 0


def test_an_open_loop_makes_no_limit_of_what_regulates_as_high() -> None:
    """Long is kept in open loop and short is nothing: that is still, and says nothing."""
    rng = np.random.default_rng(6)
    recording = make(LEVELS, rng, samples_per_s=12.0)
    when = np.arange(0.0, float(ENDS[-1]), 0.5)
    closed = when > ENDS[3]
    short = np.where(closed, 1.5 * rng.standard_normal(len(when)), 0.0)
    series = dict(recording.series)
    for name, value in (("short", short), ("long", np.full(len(when), 28 * STEP))):
        full = f"{name}_term_fuel_trim_bank_1"
        series[full] = Series(full, "%", when, np.round(value / STEP) * STEP)
    status = np.where(when > ENDS[3] - 3.0, 2.0, 1.0)
    series["fuel_system_status"] = Series("fuel_system_status", "code", when, status)
    found = stretches(Recording(series, "made"))
    assert [one.closed_loop for one in found][-2:] == [False, True]
    assert [one.readings["log_total_trim_bank_1"].at_limit for one in found] == [0] * 5


def test_a_slope_that_may_be_chance_is_not_on_the_way() -> None:
    """A few seconds of a wandering trim have a slope as well."""
    assert limits(lambda when: np.where(when < ENDS[1], 40.0, 6.0), 28.0, wander=2.5)[1:] == [0] * 3


def one(trim: float, limit: int = 0, kind: Kind = "held", *, warm: bool | None = True) -> Stretch:
    """A stretch of which only the total trim of a bank matters. [ln]"""
    reading = Reading(trim, 0.004, 0.01, 40, 10.0, 0.008, 0.0, limit)
    return Stretch(kind, 0.0, 20.0, {"log_total_trim_bank_1": reading}, warm, closed_loop=True)


def drive_beside(steady: list[Stretch], *trims: float) -> list[int]:
    """``at_limit`` of points of a drive, of which nobody said that they are at a limit."""
    found = driven_as_high([one(trim, kind="drive") for trim in trims], steady)
    return [point.readings["log_total_trim_bank_1"].at_limit for point in found]


@pytest.mark.parametrize("sign", [1, -1])
def test_a_drive_stands_at_the_limit_that_its_steady_points_stand_at(sign: int) -> None:
    steady = [one(sign * 0.25, sign, "idle"), one(sign * 0.252, sign), one(sign * 0.10)]
    trims = (sign * 0.247, sign * 0.30, sign * 0.15, sign * -0.25)
    assert drive_beside(steady, *trims) == [sign, sign, 0, 0]


def test_a_stretch_on_its_way_to_the_limit_does_not_lower_it_for_a_drive() -> None:
    assert drive_beside([one(0.25, 1), one(0.25, 1), one(0.12, 1)], 0.247, 0.13) == [1, 0]


def test_without_a_limit_or_with_a_cold_one_a_drive_regulates() -> None:
    assert drive_beside([one(0.25)], 0.25) == [0]
    assert drive_beside([one(0.25, 1, warm=False)], 0.25) == [0]


def test_a_point_without_trims_stays_as_it_is() -> None:
    bare = Stretch("drive", 0.0, 20.0, {}, warm=True, closed_loop=None)
    assert driven_as_high([bare], [one(0.25, 1)]) == [bare]
