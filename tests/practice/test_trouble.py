"""Codes of the practice car: pending on one trip, confirmed on the next, and how they go."""

from dataclasses import replace

import pytest

from bellmouth.practice.readiness import MONITORS, Facts, Readiness
from bellmouth.practice.trouble import Trouble

FRAME = {0x0C: b"\x0a\xf0", 0x05: b"\x7d"}
IDLE = Facts(
    running=True, closed_loop=True, coolant_c=90.0, started_at_c=20.0, speed_rpm=700.0,
    road_kmh=0.0, pedal_pct=0.0, fuel_level_pct=55.0, trims_pct=(1.5, -0.8), idle_error_rpm=5.0,
)  # fmt: skip
LEAN = replace(IDLE, trims_pct=(24.0, 3.0))


def trip(trouble: Trouble, facts: Facts, seconds: float = 120.0) -> None:
    trouble.begin_trip(facts.started_at_c)
    for _ in range(int(seconds / 0.5)):
        trouble.watch(0.5, facts, lambda: dict(FRAME))


def test_a_healthy_trip_stores_nothing() -> None:
    trouble = Trouble(ready=True)
    trip(trouble, IDLE)
    assert (trouble.pending, trouble.confirmed, trouble.lamp_on) == ([], [], False)


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        (LEAN, "P0171"),
        (replace(IDLE, trims_pct=(-24.0, 3.0)), "P0172"),
        (replace(IDLE, trims_pct=(3.0, 24.0)), "P0174"),
        (replace(IDLE, trims_pct=(3.0, -24.0)), "P0175"),
        (replace(IDLE, idle_error_rpm=260.0), "P0507"),
        (replace(IDLE, idle_error_rpm=-140.0), "P0506"),
    ],
)
def test_one_trip_makes_a_code_pending_and_a_second_confirms_it(facts: Facts, code: str) -> None:
    trouble = Trouble(ready=True)
    trip(trouble, facts)
    assert (trouble.pending, trouble.confirmed, trouble.lamp_on) == ([code], [], False)
    trip(trouble, facts)
    assert (trouble.confirmed, trouble.permanent) == ([code], [code])
    assert trouble.lamp_on
    assert (trouble.freeze_code, trouble.freeze_frame) == (code, FRAME)


def test_a_trim_out_for_half_a_minute_is_not_a_fault_yet() -> None:
    trouble = Trouble(ready=True)
    trip(trouble, LEAN, 35.0)
    assert trouble.pending == []


def test_a_good_trip_in_between_forgets_what_was_pending() -> None:
    trouble = Trouble(ready=True)
    for facts in (LEAN, IDLE, LEAN):
        trip(trouble, facts)
    assert trouble.confirmed == []


def test_three_good_trips_put_the_lamp_out_but_keep_the_code() -> None:
    trouble = Trouble(ready=True)
    for facts in (LEAN, LEAN, IDLE, IDLE, IDLE):
        trip(trouble, facts)
    assert trouble.lamp_on
    trouble.begin_trip(20.0)
    assert (trouble.lamp_on, trouble.confirmed, trouble.permanent) == (False, ["P0171"], [])


def test_clearing_leaves_the_permanent_code_until_a_good_trip() -> None:
    trouble = Trouble(ready=True)
    for facts in (LEAN, LEAN):
        trip(trouble, facts)
    trouble.clear()
    assert (trouble.confirmed, trouble.pending, trouble.lamp_on) == ([], [], False)
    assert (trouble.permanent, trouble.freeze_code, trouble.freeze_frame) == (["P0171"], None, {})
    assert not trouble.status(lamp=False).ready
    assert set(trouble.counters().values()) == {0}
    trip(trouble, IDLE)
    trouble.begin_trip(20.0)
    assert trouble.permanent == []


def test_a_car_comes_in_with_the_codes_it_would_have() -> None:
    trouble = Trouble(ready=True)
    trouble.came_in_with(LEAN, lambda: dict(FRAME))
    assert (trouble.confirmed, trouble.freeze_code) == (["P0171"], "P0171")
    assert trouble.counters()["distance_with_lamp_on"] > 0
    healthy = Trouble(ready=True)
    healthy.came_in_with(IDLE, lambda: dict(FRAME))
    assert healthy.confirmed == []


def test_warm_ups_distance_and_time_are_counted_from_the_clearing() -> None:
    trouble = Trouble(ready=True)
    trouble.clear()
    trip(trouble, replace(IDLE, road_kmh=72.0, coolant_c=40.0), 300.0)
    assert trouble.counters()["warm_ups_since_codes_cleared"] == 0
    trip(trouble, replace(IDLE, road_kmh=72.0, started_at_c=20.0), 300.0)
    counters = trouble.counters()
    assert counters["warm_ups_since_codes_cleared"] == 1
    assert counters["distance_since_codes_cleared"] == pytest.approx(12.0)
    assert counters["time_since_codes_cleared"] == pytest.approx(10.0)


def test_what_is_kept_comes_back() -> None:
    trouble = Trouble(ready=True)
    for _ in range(2):
        trip(trouble, LEAN)
    again = Trouble(ready=False)
    again.restore(trouble.kept())
    assert again.kept() == trouble.kept()
    assert again.status(lamp=True) == trouble.status(lamp=True)


def test_monitors_complete_under_their_own_conditions() -> None:
    ready = Readiness(ready=False)
    ready.watch(200.0, IDLE)
    done = {name for name, state in ready.since_clear().items() if state == "supported complete"}
    assert done == {
        "misfire",
        "fuel_system",
        "comprehensive",
        "oxygen_sensor_heater",
        "evaporative",
    }
    ready.watch(200.0, replace(IDLE, road_kmh=60.0, pedal_pct=12.0, speed_rpm=1900.0))
    ready.watch(10.0, replace(IDLE, road_kmh=45.0, speed_rpm=1500.0))
    assert set(ready.since_clear().values()) == {"supported complete"}


def test_a_new_trip_resets_only_what_is_of_the_trip() -> None:
    ready = Readiness(ready=True)
    ready.watch(200.0, IDLE)
    ready.begin_trip()
    assert set(ready.since_clear().values()) == {"supported complete"}
    assert set(ready.this_trip().values()) == {"supported incomplete"}
    assert set(ready.this_trip()) == set(MONITORS)
