"""A sensor that never moves although speed does, and what only looks like one."""

import numpy as np
import pytest

from bellmouth.recording.series import Recording, Series
from bellmouth.recording.stuck import is_left_out, is_stuck, without_stuck


def recorded(rpm: np.ndarray, **at: float | np.ndarray) -> Recording:
    time = np.arange(rpm.size) / 4.0
    units = {"throttle_position": "%", "intake_manifold_pressure": "kPa"}
    series = {
        name: Series(name, units.get(name, "g/s"), time, np.broadcast_to(value, rpm.shape).copy())
        for name, value in at.items()
    }
    return Recording({"engine_speed": Series("engine_speed", "rpm", time, rpm), **series}, "a.csv")


IDLE = 700.0 + 3.0 * np.sin(np.arange(400.0))
HELD = np.concatenate([IDLE, np.full(200, 2500.0)])


def test_the_plate_may_stand_while_an_engine_starts_and_warms_up() -> None:
    falling = np.concatenate([np.full(20, 0.0), [230.0] * 6, np.linspace(1100.0, 720.0, 374)])
    for rpm in (IDLE, falling):
        recording = recorded(rpm, throttle_position=15.7)
        assert not is_stuck(recording, recording.series["throttle_position"])
    recording = recorded(HELD, throttle_position=15.7)
    assert is_left_out(recording, recording.series["throttle_position"])


@pytest.mark.parametrize("rpm", [1000.0, 0.0, 16383.75])
def test_one_sample_of_speed_that_is_wrong_makes_no_sensor_dead(rpm: float) -> None:
    odd = IDLE.copy()
    odd[200] = rpm
    recording = recorded(odd, intake_manifold_pressure=34.0)
    assert not is_stuck(recording, recording.series["intake_manifold_pressure"])


@pytest.mark.parametrize(("kpa", "left_out"), [(34.0, True), (72.0, True), (97.0, False)])
def test_a_pressure_that_an_open_throttle_would_have_is_kept_to_be_refused(
    kpa: float, left_out: bool
) -> None:
    recording = recorded(HELD, intake_manifold_pressure=kpa)
    assert is_left_out(recording, recording.series["intake_manifold_pressure"]) is left_out
    assert ("intake_manifold_pressure" in without_stuck(recording).series) is not left_out


def test_of_two_meters_one_alone_is_half_of_an_engine() -> None:
    moving = HELD / 700.0
    recording = recorded(
        HELD,
        throttle_position=HELD / 50.0,
        mass_air_flow_sensor_a_extended=moving,
        mass_air_flow_sensor_b_extended=1.2,
    )
    assert set(without_stuck(recording).series) == {"engine_speed", "throttle_position"}
    other = recorded(HELD, mass_air_flow=1.2, mass_air_flow_sensor_a_extended=moving)
    assert "mass_air_flow_sensor_a_extended" in without_stuck(other).series
