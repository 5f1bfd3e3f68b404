"""What to do next: steady and enough are judged from the recording, not by a timer."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bellmouth.bus.capture import Progress, record
from bellmouth.bus.expected import View, gain_bits, longer, view
from bellmouth.bus.guide import LEAST_BITS, LEAST_S, Guide, asked_rpm, course, extras
from bellmouth.bus.points import imagined, point_bits, splitting_point
from bellmouth.car.description import Car, Known
from bellmouth.recording import Recording, stretches
from bellmouth.recording.series import Series
from tests.bus.simulated import SimulatedClient, obeying
from tests.recording.made import LEVELS, make

CAR = Car(Known(2.0), "airflow")
REPORTED = ("engine_speed", "intake_manifold_pressure", "mass_air_flow")


def until(recording: Recording, seconds: float) -> Recording:
    series = {}
    for name, one in recording.series.items():
        kept = one.time_s <= seconds
        if kept.any():
            series[name] = Series(name, one.unit, one.time_s[kept], one.value[kept])
    return Recording(series, "part")


@pytest.fixture(scope="module")
def recording() -> Recording:
    """Key on, idle, 1,500, 2,500, idle: 163 s."""
    return make(LEVELS, np.random.default_rng(5), lost=0.0)


def test_steps_are_data_and_each_says_why() -> None:
    assert [step.name for step in course()] == [
        "key_on", "warm_up", "idle", "hold_1500", "hold_2500", "idle_again",
    ]  # fmt: skip
    for step in (*course(), *extras()):
        assert step.do.endswith(".")
        assert step.why.endswith(".")
    assert asked_rpm() == (1500, 2000, 2500, 3500)
    running = [step for step in course() if step.kind in ("warm", "held")]
    assert all(step.caution for step in running)


def test_a_recording_of_the_whole_course_leaves_nothing_to_ask(recording: Recording) -> None:
    guide = Guide(REPORTED, CAR)
    for now in (6.0, 12.0, 40.0, 52.0, 80.0, 110.0, 140.0, 160.0):
        advice = guide.look(until(recording, now), now)
    assert guide.done or advice.step in extras()
    assert list(guide.passed)[:6] == [
        "key_on", "warm_up", "idle", "hold_1500", "hold_2500", "idle_again",
    ]  # fmt: skip


def test_points_are_taken_in_whatever_order_they_come() -> None:
    held = [replace(level, seconds=50) for level in (LEVELS[3], LEVELS[2])]
    order = [LEVELS[0], *held, LEVELS[4]]
    recording = make(order, np.random.default_rng(6), lost=0.0)
    guide = Guide(REPORTED, CAR)
    for now in (6.0, 10.0, 56.0, 106.0, 140.0, 156.0):
        guide.look(until(recording, now), now)
    assert {"hold_2500", "hold_1500", "idle", "idle_again"} <= set(guide.passed)


def test_a_restless_engine_is_waited_for_longer_than_a_calm_one() -> None:
    """The expected information decides: twice the noise needs more seconds for as much."""
    level = [LEVELS[0], LEVELS[1]]
    calm = make(level, np.random.default_rng(7), lost=0.0, noise=0.5)
    restless = make(level, np.random.default_rng(7), lost=0.0, noise=4.0)
    gains = []
    for recording in (calm, restless):
        found = stretches(until(recording, 30.0))
        gains.append(gain_bits(found, len(found) - 1, 10.0, CAR))
    assert gains[1] > gains[0]


def test_the_gain_shrinks_as_the_recording_grows_and_is_never_negative(
    recording: Recording,
) -> None:
    gains = []
    for now in (30.0, 52.0):
        found = stretches(until(recording, now))
        gains.append(gain_bits(found, len(found) - 1, 10.0, CAR))
    assert gains[0] > gains[1] >= 0.0


def test_nothing_can_be_said_before_the_engine_runs(recording: Recording) -> None:
    found = stretches(until(recording, 7.0))
    assert view(found, CAR) is None
    assert gain_bits(found, 0, 10.0, CAR) == float("inf")


def test_longer_shrinks_chance_and_leaves_rounding(recording: Recording) -> None:
    stretch = stretches(recording)[1]
    twice = longer(stretch, stretch.seconds)
    for name, reading in stretch.readings.items():
        after = twice.readings[name].standard_error
        chance2 = min(
            reading.scatter**2 / max(reading.independent_samples, 1.0), reading.standard_error**2
        )
        assert after**2 == pytest.approx(reading.standard_error**2 - chance2 / 2)
        assert twice.readings[name].value == reading.value


def test_no_stretch_is_enough_before_the_trims_can_settle(tmp_path: Path) -> None:
    client = SimulatedClient(seed=3)
    seen: list[Progress] = []
    record(
        client,  # type: ignore[arg-type]
        tmp_path / "x.csv",
        car=CAR,
        progress=obeying(client, seen),
        clock=client.clock,
        wait=client.wait,
    )
    began: dict[str, float] = {}
    for now in seen:
        if now.advice is not None and now.advice.step is not None:
            began.setdefault(now.advice.step.name, now.seconds)
    assert began["hold_2500"] - began["hold_1500"] > LEAST_S
    last = [now.advice for now in seen if now.advice is not None and now.advice.bits < LEAST_BITS]
    assert last or all(now.advice is None or np.isnan(now.advice.bits) for now in seen)


def test_a_running_engine_passes_the_key_on_reading_over() -> None:
    running = make([LEVELS[1]], np.random.default_rng(8), lost=0.0)
    guide = Guide(REPORTED, CAR)
    first = guide.look(until(running, 4.0), 4.0)
    assert first.step is not None
    for now in np.arange(8.0, 45.0, 4.0):
        guide.look(until(running, float(now)), float(now))
    assert guide.passed["key_on"] == "passed over, the engine was running"


def test_a_car_without_a_manifold_sensor_is_not_asked_for_key_on() -> None:
    running = make([LEVELS[1]], np.random.default_rng(8), lost=0.0)
    advice = Guide(("engine_speed", "mass_air_flow"), CAR).look(until(running, 6.0), 6.0)
    assert advice.step is not None
    assert advice.step.name != "key_on"


@pytest.mark.parametrize(
    ("degrees", "rises", "passes"), [(62, 0, True), (40, 0, False), (50, 12, False)]
)
def test_an_engine_whose_thermostat_never_closes_is_not_waited_for(
    degrees: float, rises: float, passes: bool
) -> None:
    made = make([LEVELS[1], LEVELS[1]], np.random.default_rng(5), lost=0.0)
    time_s = np.arange(0.0, 90.0, 3.0)
    coolant = np.round(degrees + rises * time_s / 60)
    car = {
        "engine_coolant_temperature": Series("engine_coolant_temperature", "degC", time_s, coolant),
        "time_since_engine_start": Series("time_since_engine_start", "s", time_s, time_s + 600),
    }
    running = Recording({**made.series, **car}, "made")
    guide = Guide(("engine_speed", "mass_air_flow"), CAR)
    for now in np.arange(4.0, 80.0, 2.0):
        guide.look(until(running, float(now)), float(now))
    assert ("warm_up" in guide.passed) is passes


def test_a_coolant_sensor_without_its_plug_is_not_waited_for(recording: Recording) -> None:
    time_s = np.arange(0.0, 163.0, 0.5)
    name = "engine_coolant_temperature"
    dead = Series(name, "degC", time_s, np.full(time_s.size, -40.0))
    whole = replace(recording, series={**recording.series, name: dead})
    guide = Guide((*REPORTED, name), CAR)
    for now in np.arange(4.0, 110.0, 2.0):
        guide.look(until(whole, float(now)), float(now))
    assert "idle" in guide.passed


def test_a_stuck_airflow_meter_holds_no_capture_up() -> None:
    """It is left out of the finding, as no more of it would tell."""
    running = make([LEVELS[0], *[LEVELS[1]] * 4], np.random.default_rng(5), lost=0.0)
    air = running.series["mass_air_flow"]
    dead = replace(air, value=np.full(air.value.size, 3.0))
    whole = replace(running, series={**running.series, "mass_air_flow": dead})
    guide = Guide(REPORTED, CAR)
    for now in np.arange(4.0, 200.0, 2.0):
        guide.look(until(whole, float(now)), float(now))
    assert "idle" in guide.passed


def test_time_that_the_computer_slept_is_nobodys_patience(recording: Recording) -> None:
    guide = Guide(REPORTED, CAR)
    for now in np.arange(4.0, 40.0, 2.0):
        guide.look(until(recording, float(now)), float(now))
    passed = set(guide.passed)
    guide.slept(600.0)
    guide.look(until(recording, 42.0), 642.0)
    assert set(guide.passed) == passed


@pytest.mark.parametrize(
    ("rpm", "hint"), [(1000.0, "a little more pedal"), (2100.0, "a little less pedal")]
)
def test_the_pedal_is_told_which_way(rpm: float, hint: str) -> None:
    levels = [*LEVELS[:2], replace(LEVELS[2], engine_speed=rpm, seconds=9)]
    recording = make(levels, np.random.default_rng(9), lost=0.0, noise=0.0)
    guide = Guide(REPORTED, CAR)
    for now in (8.0, 12.0, 48.0, 52.0, 58.0):
        advice = guide.look(until(recording, now), now)
    assert advice.step is not None
    assert advice.step.name == "hold_1500"
    assert advice.hint == f"now {rpm:,.0f} rpm: {hint}"


def test_a_speed_that_a_high_idle_makes_look_like_idle_is_taken_all_the_same() -> None:
    """1,500 rpm over an idle of 1,050: called an idle, and yet nobody is kept waiting."""
    levels = [LEVELS[0], replace(LEVELS[1], engine_speed=1050.0), replace(LEVELS[2], seconds=60)]
    recording = make(levels, np.random.default_rng(6), lost=0.0)
    guide = Guide(REPORTED, CAR)
    for now in (6.0, 12.0, 40.0, 52.0, 80.0, 110.0):
        guide.look(until(recording, now), now)
    assert {one.kind for one in stretches(recording) if one.value("engine_speed") > 900} == {"idle"}
    assert "hold_1500" in guide.passed


def test_a_foot_that_is_still_on_the_pedal_is_told_to_leave_it() -> None:
    idle = replace(LEVELS[1], engine_speed=2500.0, seconds=9)
    recording = make([LEVELS[0], idle], np.random.default_rng(9), lost=0.0, noise=0.0)
    guide = Guide(REPORTED, CAR)
    for now in (8.0, 9.5, 11.0):
        advice = guide.look(until(recording, now), now)
    assert advice.step is not None
    assert advice.step.name == "idle"
    assert advice.hint == "now 2,500 rpm: foot off the pedal, let it settle"


def test_a_further_speed_is_worth_most_where_the_causes_part(recording: Recording) -> None:
    """After idle and 1,500 rpm a leak and a meter fault part above, not at idle once more."""
    found = stretches(until(recording, 84.0))
    now = view(found, CAR, "high idle")
    assert now is not None
    at_idle = point_bits(found, 700.0, CAR, now)
    above = point_bits(found, 3500.0, CAR, now)
    assert above > at_idle >= 0.0


def test_no_further_speed_is_asked_for_where_none_would_tell(recording: Recording) -> None:
    found = stretches(recording)
    sure = View({"leak": 1.0}, {})
    assert splitting_point(found, extras(), CAR, sure) is None
    assert splitting_point(found, extras(), CAR, None) is None
    assert splitting_point(found[:1], extras(), CAR, view(found, CAR)) is None


def test_an_imagined_point_lies_between_its_neighbours(recording: Recording) -> None:
    found = stretches(recording)
    point = imagined(found, 2000.0)
    assert point is not None
    low, high = (one for one in found if one.kind == "held")
    assert low.value("mass_air_flow") < point.value("mass_air_flow") < high.value("mass_air_flow")
    assert point.value("engine_speed") == pytest.approx(2000.0, rel=1e-6)
    assert imagined(found[:2], 2000.0) is None
