"""What a recording is good for, said before anything is concluded from it."""

import dataclasses
import json

import numpy as np
import pytest

from bellmouth.recording import Recording, Series, assess
from tests.recording.made import LEVELS, Level, make


@pytest.fixture(scope="module")
def recording() -> Recording:
    return make(LEVELS, np.random.default_rng(1))


def without(recording: Recording, *names: str) -> Recording:
    series = {name: one for name, one in recording.series.items() if name not in names}
    return dataclasses.replace(recording, series=series)


def test_rate_gaps_and_resolution_are_measured(recording: Recording) -> None:
    quality = assess(recording)
    by_name = {one.name: one for one in quality.parameters}
    pressure = by_name["intake_manifold_pressure"]
    assert pressure.quantum == 1.0
    assert pressure.samples_per_s == pytest.approx(12 / 8 * 0.95, rel=0.1)
    assert 0.5 < pressure.longest_gap_s < 6
    assert pressure.least < 31
    assert pressure.most <= 102
    assert not pressure.stuck
    assert quality.usable
    assert [one.kind for one in quality.stretches] == ["engine off", "idle", "held", "held", "idle"]
    assert quality.warnings == ()


def test_the_whole_goes_into_json(recording: Recording) -> None:
    document = json.loads(json.dumps(dataclasses.asdict(assess(recording))))
    assert document["usable"] is True
    assert document["stretches"][0]["kind"] == "engine off"


def test_what_is_missing_names_the_causes_that_suffer(recording: Recording) -> None:
    trims = [name for name in recording.series if "trim" in name]
    missing = {one.what: one for one in assess(without(recording, *trims)).missing}
    assert set(missing["long fuel trims"].causes) == {
        "leak", "meter_low", "meter_high", "fuel_low", "fuel_high",
    }  # fmt: skip
    assert "long fuel trims" not in {one.what for one in assess(recording).missing}


def test_a_stuck_reading_is_said(recording: Recording) -> None:
    name = "intake_manifold_pressure"
    time = recording.series[name].time_s
    stuck = Series(name, "kPa", time, np.full(time.size, 35.0))
    quality = assess(dataclasses.replace(recording, series={**recording.series, name: stuck}))
    assert (
        "intake_manifold_pressure stayed at 35 kPa while engine speed changed: stuck, and left out."
        in quality.warnings
    )


@pytest.mark.parametrize(
    ("levels", "names", "sentence"),
    [
        (
            LEVELS,
            ("engine_speed",),
            "Engine speed was not recorded: no operating point can be found.",
        ),
        (
            [Level(40, 0, 99, 0, 17)],
            (),
            "The engine was off throughout: record it idling, warm, for at least a minute.",
        ),
        (
            [Level(40, 700, 34, 2.6, 15, engine_coolant_temperature=20.0)],
            (),
            "The engine was cold throughout: record it again at working temperature.",
        ),
        (
            [Level(4, 700, 34, 2.6, 15)],
            (),
            "It lasts 3.8 s by its clock: if it was longer, look at its unit.",
        ),
        (
            [Level(3, rpm, 34, 2.6, 15) for rpm in (700, 1500, 2500, 900, 2000)],
            (),
            "Nothing held still for long enough: record at least half a minute of warm idle.",
        ),
    ],
)
def test_what_no_finding_can_be_asked_of_says_why(
    levels: list[Level], names: tuple[str, ...], sentence: str
) -> None:
    quality = assess(without(make(levels, np.random.default_rng(2)), *names))
    assert not quality.usable
    assert quality.warnings[0] == sentence


def standing(recording: Recording, **levels: float) -> Recording:
    """The recording with each of these parameters at one value throughout."""
    series = dict(recording.series)
    for name, level in levels.items():
        one = series[name]
        series[name] = Series(name, one.unit, one.time_s, np.full(one.time_s.size, level))
    return dataclasses.replace(recording, series=series)


@pytest.mark.parametrize("pressure_kpa", [35.0, 92.0])
@pytest.mark.parametrize("airflow_g_s", [0.0, 0.06])
def test_air_that_is_stuck_throughout_gives_no_finding(
    recording: Recording, airflow_g_s: float, pressure_kpa: float
) -> None:
    quality = assess(
        standing(recording, mass_air_flow=airflow_g_s, intake_manifold_pressure=pressure_kpa)
    )
    assert not quality.usable
    assert quality.warnings[0].startswith(
        "What should tell how much air the engine breathes is stuck: no finding can be made of it."
    )


@pytest.mark.parametrize("stuck", ["mass_air_flow", "intake_manifold_pressure"])
def test_one_reading_of_air_that_moves_is_enough_to_ask(recording: Recording, stuck: str) -> None:
    assert assess(standing(recording, **{stuck: 35.0})).usable
    assert assess(without(recording, stuck)).usable


def test_no_reading_of_air_at_all_gives_no_finding(recording: Recording) -> None:
    air = ("mass_air_flow", "intake_manifold_pressure")
    assert all(name in recording for name in air)
    quality = assess(without(recording, *air))
    assert not quality.usable
    assert quality.warnings[0].startswith("Neither airflow nor manifold pressure was recorded: ")


def test_a_recording_that_warms_up_is_usable_and_a_cold_part_alone_is_not() -> None:
    cold, warm = (
        dataclasses.replace(LEVELS[1], engine_coolant_temperature=t) for t in (20.0, 88.0)
    )
    quality = assess(make([cold, LEVELS[2], warm], np.random.default_rng(5)))
    assert quality.usable
    assert [one.warm for one in quality.stretches][:1] == [False]
    assert quality.stretches[-1].warm


def test_it_lasts_as_long_as_its_longest_parameter(recording: Recording) -> None:
    short = recording.series["throttle_position"]
    short = Series(short.name, short.unit, short.time_s[:5], short.value[:5])
    quality = assess(dataclasses.replace(recording, series={**recording.series, short.name: short}))
    assert quality.seconds == pytest.approx(sum(level.seconds for level in LEVELS), abs=1.0)


def test_idle_alone_and_slow_polling_are_warned_of() -> None:
    quality = assess(make([LEVELS[1]], np.random.default_rng(3), samples_per_s=2.5))
    assert quality.usable
    assert quality.warnings[0] == (
        "Only 2.5 samples a second in all: record fewer parameters, or use a faster adapter."
    )
    assert quality.warnings[1].startswith("Idle alone was recorded: ")


def test_a_hole_is_said(recording: Recording) -> None:
    series = {}
    for name, one in recording.series.items():
        kept = (one.time_s < 60) | (one.time_s > 72)
        series[name] = Series(name, one.unit, one.time_s[kept], one.value[kept])
    quality = assess(dataclasses.replace(recording, series=series))
    assert quality.warnings[0] == (
        "Nothing was recorded for more than 5 s once; the longest hole is 12 s, from 60 s on."
    )


def test_much_out_of_range_asks_for_the_unit(recording: Recording) -> None:
    """Most samples impossible is more often a wrong unit in the header than a broken sensor."""
    dropped = dataclasses.replace(recording, dropped={"intake_manifold_pressure": 500})
    assert any(
        "intake_manifold_pressure: 500 impossible samples were left out. Is the unit" in warning
        for warning in assess(dropped).warnings
    )


def test_a_key_on_stretch_without_its_pressure_tells_no_ambient(recording: Recording) -> None:
    silent = without(recording, "intake_manifold_pressure", "barometric_pressure")
    assert "engine off" in {one.kind for one in assess(silent).stretches}
    assert any("Neither barometric pressure nor" in one for one in assess(silent).warnings)


def test_a_bank_in_open_loop_throughout_is_said(recording: Recording) -> None:
    series = dict(recording.series)
    for term in ("short", "long"):
        one = series[f"{term}_term_fuel_trim_bank_1"]
        name = f"{term}_term_fuel_trim_bank_2"
        series[name] = dataclasses.replace(one, name=name)
    times = series["engine_speed"].time_s
    for name, code in (("fuel_system_status", 2.0), ("fuel_system_status_bank_2", 8.0)):
        series[name] = Series(name, "code", times, np.full(times.size, code))
    told = assess(dataclasses.replace(recording, series=series)).warnings
    assert told == ("Bank 2 ran in open loop throughout: its trims say nothing.",)


@pytest.mark.parametrize(("share", "told"), [(1.0, "throughout"), (0.4, "more than a fifth")])
def test_open_loop_throughout_is_said_of_no_engine_that_closed_its_loop(
    recording: Recording, share: float, told: str
) -> None:
    """A hot engine idles open for a while, and the whole of that idle counts as open."""
    times = recording.series["engine_speed"].time_s
    status = np.full(times.size, 1.0 if share == 1.0 else 2.0)
    for one in assess(recording).stretches:
        open_s = share * (one.end_s - one.start_s)
        status[(times >= one.start_s) & (times < one.start_s + open_s)] = 1.0
    series = {
        **recording.series,
        "fuel_system_status": Series("fuel_system_status", "code", times, status),
    }
    (said,) = (
        one
        for one in assess(dataclasses.replace(recording, series=series)).warnings
        if "open loop" in one
    )
    assert told in said


def test_a_coolant_sensor_without_its_plug_makes_no_engine_cold() -> None:
    levels = [dataclasses.replace(level, engine_coolant_temperature=-40.0) for level in LEVELS]
    quality = assess(make(levels, np.random.default_rng(31)))
    assert quality.usable
    assert {piece.warm for piece in quality.stretches} == {None}
    (said,) = [one for one in quality.warnings if "coolant" in one]
    assert "its sensor is unplugged" in said
    once = make(LEVELS, np.random.default_rng(31))
    once.series["engine_coolant_temperature"].value[3] = -40.0
    assert {piece.warm for piece in assess(once).stretches} == {True}
