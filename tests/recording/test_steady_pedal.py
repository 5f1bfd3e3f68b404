"""Idle and held speeds are told apart by the pedal."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.recording.series import Series
from bellmouth.recording.steady import stretches
from tests.recording.made import LEVELS, make
from tests.recording.test_steady import shown


@pytest.mark.parametrize(
    ("step_pct", "rpm", "kind"),
    [(0.39, 1505.0, "held"), (0.0, 1505.0, "idle"), (0.39, 1150.0, "idle"), (0.8, 1150.0, "held")],
)
def test_a_high_idle_takes_one_step_of_the_pedal_to_be_held(
    step_pct: float, rpm: float, kind: str
) -> None:
    """An engine that idles at 935 rpm goes to 1,500 with the pedal one step off its lowest; off it
    by no step a cold engine idles as fast."""
    quick = replace(LEVELS[1], engine_speed=935.0)
    levels = [quick, replace(LEVELS[1], engine_speed=rpm), replace(LEVELS[1], engine_speed=940.0)]
    recording = make(levels, np.random.default_rng(11), noise=0.3)
    time_s = np.arange(0.0, sum(level.seconds for level in levels), 0.5)
    speed = recording.series["engine_speed"]
    pressed = np.abs(np.interp(time_s, speed.time_s, speed.value) - rpm) < 60.0
    pedal = Series(
        "accelerator_pedal_position_d", "%", time_s, np.where(pressed, 14.9 + step_pct, 14.9)
    )
    # Somebody touches it at last: a reading that never moves says nothing.
    pedal.value[-1] = 20.0
    found = stretches(replace(recording, series={**recording.series, pedal.name: pedal}))
    kinds = {one.kind for one in found if abs(one.value("engine_speed") - rpm) < 60.0}
    assert kinds == {kind}


@pytest.mark.parametrize("share", [0.3, 0.7])
def test_a_pedal_that_flickers_between_two_steps_is_not_pressed(share: float) -> None:
    """A cold start idles fast, and one low reading is not where the pedal rests."""
    speeds = (1150.0, 900.0, 750.0)
    levels = [replace(LEVELS[1], engine_speed=rpm) for rpm in speeds]
    recording = make(levels, np.random.default_rng(12), noise=0.3)
    time_s = np.arange(0.0, sum(level.seconds for level in levels), 0.5)
    flicker = np.random.default_rng(13).random(len(time_s)) < share
    fast = time_s < levels[0].seconds
    read = np.where(fast & flicker, 15.29, 14.9)
    read[-1] = 20.0
    pedal = Series("accelerator_pedal_position_d", "%", time_s, read)
    found = stretches(replace(recording, series={**recording.series, pedal.name: pedal}))
    assert {one.kind for one in found if one.kind != "engine off"} == {"idle"}
    read[0], read[1:-1] = 14.51, 14.9
    found = stretches(replace(recording, series={**recording.series, pedal.name: pedal}))
    assert {one.kind for one in found if one.kind != "engine off"} == {"idle"}


@pytest.mark.parametrize("astray", [0, 60, slice(0, 8)])
def test_a_pedal_that_reads_nothing_for_a_moment_was_not_up_then(astray: int | slice) -> None:
    """With the key just on, or once: the pedal's rest is not there."""
    recording = make(LEVELS, np.random.default_rng(20))
    speed = recording.series["engine_speed"]
    time_s = np.arange(0.0, 163.0, 0.8)
    raised = np.interp(time_s, speed.time_s, speed.value) > 1100
    read = np.where(raised, 18.0, 14.5)
    read[astray] = 0.0
    pedal = Series("accelerator_pedal_position_d", "%", time_s, read)
    found = stretches(replace(recording, series={**recording.series, pedal.name: pedal}))
    assert shown(found)[1:] == [("idle", 700), ("held", 1500), ("held", 2500), ("idle", 700)]
