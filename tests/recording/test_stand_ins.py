"""Cars that tell airflow or manifold pressure by extended parameters alone."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.recording import Recording, Series, assess, stretches
from bellmouth.recording.stand_ins import with_stand_ins
from tests.recording.made import LEVELS, make

_A, _B = (f"mass_air_flow_sensor_{letter}_extended" for letter in "ab")
_PRESSURE = "intake_manifold_pressure"


@pytest.fixture(scope="module")
def whole() -> Recording:
    return make(LEVELS, np.random.default_rng(1))


def _without(recording: Recording, *names: str) -> dict[str, Series]:
    return {name: one for name, one in recording.series.items() if name not in names}


def _metered(recording: Recording, **shares: float) -> Recording:
    """The airflow in shares by extended meters."""
    flow = recording.series["mass_air_flow"]
    meters = {
        name: replace(flow, name=name, value=flow.value * share) for name, share in shares.items()
    }
    return replace(recording, series={**_without(recording, "mass_air_flow"), **meters})


@pytest.mark.parametrize("shares", [{_A: 0.5, _B: 0.5}, {_A: 0.3, _B: 0.7}, {_A: 1.0}])
def test_two_meters_are_added(whole: Recording, shares: dict[str, float]) -> None:
    told = [one.value("mass_air_flow") for one in stretches(whole)]
    found = [one.value("mass_air_flow") for one in stretches(_metered(whole, **shares))]
    assert found == pytest.approx(told, rel=1e-3)


def test_the_standards_own_parameter_comes_first(whole: Recording) -> None:
    flow = whole.series["mass_air_flow"]
    other = replace(flow, name=_A, value=flow.value * 3)
    both = replace(whole, series={**whole.series, _A: other})
    assert with_stand_ins(both) is both


def test_a_second_meter_alone_is_half_an_engine(whole: Recording) -> None:
    assert "mass_air_flow" not in with_stand_ins(_metered(whole, **{_B: 1.0}))


def test_a_meter_that_falls_silent_is_not_held_for_ever() -> None:
    times = np.arange(0.0, 60.0, 0.5)
    speed = Series("engine_speed", "rpm", times, np.full(times.size, 700.0))
    first = Series(_A, "g/s", times, np.full(times.size, 1.25))
    second = Series(_B, "g/s", times[:40], np.full(40, 1.25))
    series = {one.name: one for one in (speed, first, second)}
    flow = with_stand_ins(Recording(series, "made")).series["mass_air_flow"]
    assert set(flow.value) == {2.5}
    assert flow.time_s[-1] == pytest.approx(19.5 + 5.0)


def test_an_extended_pressure_stands_in_with_its_own_step(whole: Recording) -> None:
    pressure = whole.series[_PRESSURE]
    name = f"{_PRESSURE}_a_extended"
    # One other reading, or it would be stuck and left out.
    level = np.where(np.arange(pressure.value.size) == pressure.value.size - 1, 50.0, 34.0)
    still = replace(pressure, name=name, value=level)
    made = replace(whole, series={**_without(whole, _PRESSURE), name: still})
    found = [one.readings[_PRESSURE] for one in stretches(made) if one.kind == "idle"]
    assert found[0].value == 34.0
    assert found[0].quantum == pytest.approx(1 / 32)
    assert assess(made).missing == assess(whole).missing
