"""Stretches found by themselves, and errors that mean what they say."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.recording.series import Recording, Series
from bellmouth.recording.steady import stretches
from bellmouth.recording.stretch import Stretch
from tests.recording.made import LEVELS, QUANTUM, Level, make

READ = tuple(QUANTUM)[:6]


def shown(found: tuple[Stretch, ...]) -> list[tuple[str, int]]:
    """Kind and speed to the nearest hundred."""
    return [(one.kind, round(one.value("engine_speed") / 100) * 100) for one in found]


def test_the_levels_of_a_recording_are_its_stretches() -> None:
    found = stretches(make(LEVELS, np.random.default_rng(1)))
    assert shown(found) == [
        ("engine off", 0),
        ("idle", 700),
        ("held", 1500),
        ("held", 2500),
        ("idle", 700),
    ]
    ends = np.cumsum([level.seconds for level in LEVELS])
    for one, end, level in zip(found, ends, LEVELS, strict=True):
        assert end - level.seconds - 1 <= one.start_s < one.end_s <= end + 1.5
    assert all(one.warm for one in found)
    assert all(one.closed_loop is None for one in found)
    assert all(one.purging == 0 for one in found)


@pytest.mark.parametrize("samples_per_s", [3.0, 8.0, 22.0, 50.0])
@pytest.mark.parametrize("order", [(1, 2, 3, 4), (3, 1, 2), (2, 4), (1,)])
def test_any_order_and_any_rate_finds_every_level(
    samples_per_s: float, order: tuple[int, ...]
) -> None:
    levels = [LEVELS[number] for number in order]
    found = stretches(make(levels, np.random.default_rng(2), samples_per_s=samples_per_s))
    expected = [round(level.engine_speed / 100) * 100 for level in levels]
    assert [speed for _, speed in shown(found)] == expected


@pytest.fixture(scope="module")
def errors() -> dict[str, list[float]]:
    """Errors of every reading in its own standard errors, over many made recordings."""
    rng = np.random.default_rng(3)
    scores: dict[str, list[float]] = {}
    ends = np.cumsum([level.seconds for level in LEVELS])
    for _ in range(40):
        levels = [shifted(level, rng) for level in LEVELS]
        recording = make(
            levels,
            rng,
            samples_per_s=float(rng.uniform(3, 22)),
            noise=float(rng.choice([0.3, 1, 2])),
        )
        for one in stretches(recording):
            level = levels[int(np.searchsorted(ends, 0.5 * (one.start_s + one.end_s)))]
            if one.kind == "engine off":
                continue
            for name in READ:
                if name in one.readings:
                    off = one.value(name) - getattr(level, name)
                    scores.setdefault(name, []).append(off / one.error(name))
            reading = one.readings.get("log_total_trim_bank_1")
            if reading is not None:
                off = reading.value - log_trim(level)
                scores.setdefault("total trim", []).append(off / reading.standard_error)
    return scores


def shifted(level: Level, rng: np.random.Generator) -> Level:
    """Levels at any place between two steps of the reading."""
    return Level(
        level.seconds,
        level.engine_speed,
        level.intake_manifold_pressure + float(rng.uniform(-1, 1)),
        level.mass_air_flow,
        level.throttle_position + float(rng.uniform(-1, 1)),
        level.short_term_fuel_trim_bank_1 + float(rng.uniform(-0.5, 0.5)),
        level.long_term_fuel_trim_bank_1 + float(rng.uniform(-0.8, 0.8)),
    )


def log_trim(level: Level) -> float:
    short, long = level.short_term_fuel_trim_bank_1, level.long_term_fuel_trim_bank_1
    return float(np.log((1 + short / 100) * (1 + long / 100)))


@pytest.mark.parametrize("name", [*READ, "total trim"])
def test_errors_are_as_large_as_stated(errors: dict[str, list[float]], name: str) -> None:
    """Nine in ten within 1.645 standard errors, give or take; neither boastful nor useless."""
    scores = np.array(errors[name])
    assert scores.size > 120
    assert 0.80 <= np.mean(np.abs(scores) < 1.645) <= 0.99
    assert 0.6 < np.sqrt(np.mean(scores**2)) < 1.4
    assert np.mean(np.abs(scores) > 4) < 0.03


def as_logged(
    recording: Recording, rows_per_s: float, *, straight: bool = False, hole_s: float = 0.0
) -> Recording:
    """The recording as a logger writes it that fills every row: with the last readings, or with
    straight lines from one to the next. A hole parts it in its middle."""
    half_s = max(series.time_s[-1] for series in recording.series.values()) / 2
    found = {}
    for name, one in recording.series.items():
        rows = np.arange(one.time_s[0], one.time_s[-1], 1 / rows_per_s)
        last = one.value[np.searchsorted(one.time_s, rows, side="right") - 1]
        value = np.interp(rows, one.time_s, one.value) if straight else last
        found[name] = replace(one, time_s=rows + hole_s * (rows > half_s), value=value)
    return replace(recording, series=found)


def scores_of(
    polled_per_s: float, rows_per_s: float = 0.0, *, straight: bool = False
) -> dict[str, float]:
    """Rms error of each parameter in its own standard errors, of recordings logged in some way."""
    rng = np.random.default_rng(16)
    scores: dict[str, list[float]] = {}
    for _ in range(12):
        level = shifted(LEVELS[1], rng)
        made = make([level], rng, samples_per_s=polled_per_s, noise=float(rng.choice([0.3, 1, 2])))
        if rows_per_s:
            made = as_logged(made, rows_per_s, straight=straight)
        for one in stretches(made):
            for name in READ:
                off = one.value(name) - getattr(level, name)
                scores.setdefault(name, []).append(off / one.error(name))
    return {name: float(np.sqrt(np.mean(np.square(each)))) for name, each in scores.items()}


def test_a_fast_logger_is_no_surer_than_its_readings_are() -> None:
    """A hundred rows a second hold no more than the eight answers a second that fill them."""
    for found in (scores_of(400), scores_of(8, rows_per_s=100)):
        assert max(found.values()) < 1.35, found


def test_a_hole_makes_no_mean_surer() -> None:
    recording = make(LEVELS[1:], np.random.default_rng(17), samples_per_s=16)
    whole, parted = (
        stretches(as_logged(recording, 4, hole_s=hole_s))[0].readings for hole_s in (0.0, 86_400.0)
    )
    assert parted["mass_air_flow"].standard_error == pytest.approx(
        whole["mass_air_flow"].standard_error, rel=0.02
    )


def test_a_reading_that_never_moved_keeps_half_its_step() -> None:
    recording = make([LEVELS[1]], np.random.default_rng(4), noise=0.0)
    (one,) = stretches(recording)
    for name, step in (("intake_manifold_pressure", 1.0), ("long_term_fuel_trim_bank_1", 0.78125)):
        reading = one.readings[name]
        assert reading.quantum == pytest.approx(step)
        assert reading.standard_error == pytest.approx(step / np.sqrt(12), rel=1e-6)


def test_more_of_a_moving_reading_says_more() -> None:
    rng = np.random.default_rng(5)
    short, long = (
        np.mean(
            [
                stretches(make([Level(seconds, *LEVEL)], rng))[0].error("mass_air_flow")
                for _ in range(8)
            ]
        )
        for seconds in (20, 120)
    )
    assert 0.3 < long / short < 0.65


LEVEL = (700.0, 34.3, 2.61, 14.9)


@pytest.mark.parametrize("seen_off", [True, False])
def test_an_engine_that_is_cranked_does_not_idle(seen_off: bool) -> None:
    cranked = Level(25, 230, 85.0, 1.0, 17.5, 0.0)
    levels = [*LEVELS[: 1 if seen_off else 0], cranked, *LEVELS[1:]]
    found = [one for one in shown(stretches(make(levels, np.random.default_rng(18)))) if one[1]]
    assert found == [("idle", 700), ("held", 1500), ("held", 2500), ("idle", 700)]


def test_an_engine_that_turns_as_slowly_for_minutes_idles() -> None:
    found = stretches(make([Level(90, 330, 45.0, 1.4, 13.0)], np.random.default_rng(19)))
    assert shown(found) == [("idle", 300)]


def test_a_load_step_at_idle_is_two_stretches() -> None:
    levels = [Level(40, *LEVEL), Level(40, 800, 41.0, 3.4, 16.5), Level(40, *LEVEL)]
    found = stretches(make(levels, np.random.default_rng(6)))
    assert shown(found) == [("idle", 700), ("idle", 800), ("idle", 700)]


def test_purge_on_is_a_stretch_of_its_own() -> None:
    levels = [Level(40, *LEVEL), Level(40, *LEVEL, 2.0, commanded_evaporative_purge=30.0)]
    found = stretches(make(levels, np.random.default_rng(7)))
    assert [round(one.purging or 0) for one in found] == [0, 1]


def test_a_hunting_idle_is_one_stretch_of_large_scatter() -> None:
    recording = make([Level(60, *LEVEL)], np.random.default_rng(8))
    speed = recording.series["engine_speed"]
    hunting = speed.value + 80 * np.sin(2 * np.pi * speed.time_s / 5)
    series = dict(recording.series)
    series["engine_speed"] = Series("engine_speed", "rpm", speed.time_s, hunting)
    (one,) = stretches(Recording(series, "made"))
    assert one.kind == "idle"
    assert one.readings["engine_speed"].scatter == pytest.approx(80 / np.sqrt(2), rel=0.2)
    assert one.value("engine_speed") == pytest.approx(700, abs=25)


def test_a_cold_engine_is_said_to_be_cold() -> None:
    levels = [Level(60, *LEVEL, engine_coolant_temperature=30.0)]
    (one,) = stretches(make(levels, np.random.default_rng(9)))
    assert one.warm is False


def test_open_loop_is_read_from_the_fuel_system() -> None:
    recording = make([Level(60, *LEVEL)], np.random.default_rng(10))
    for code, closed in ((1.0, False), (2.0, True), (8.0, False), (16.0, True)):
        status = Series("fuel_system_status", "code", np.arange(0, 60, 1.0), np.full(60, code))
        series = {**recording.series, "fuel_system_status": status}
        assert stretches(Recording(series, "made"))[0].closed_loop is closed


@pytest.mark.parametrize("starts", [True, False])
def test_a_short_trim_that_has_not_moved_since_the_start_is_open_loop(starts: bool) -> None:
    """Where the controller does not say; one seen running all along may regulate about nothing."""
    levels = LEVELS if starts else LEVELS[1:]
    recording = make(levels, np.random.default_rng(14))
    short = recording.series["short_term_fuel_trim_bank_1"]
    begins_s = float(sum(level.seconds for level in levels[: 2 if starts else 1]))
    still = np.where(short.time_s < begins_s, 0.0, short.value)
    series = {**recording.series, short.name: Series(short.name, "%", short.time_s, still)}
    running = [one for one in stretches(Recording(series, "made")) if one.kind != "engine off"]
    assert [one.closed_loop for one in running] == [False if starts else None, None, None, None]


def test_a_second_start_is_open_loop_again() -> None:
    levels = [*LEVELS, *LEVELS[:3]]
    recording = make(levels, np.random.default_rng(15))
    short = recording.series["short_term_fuel_trim_bank_1"]
    ends = np.cumsum([level.seconds for level in levels])
    still = (short.time_s > ends[4]) & (short.time_s < ends[6])
    value = np.where(still, 0.0, short.value)
    series = {**recording.series, short.name: Series(short.name, "%", short.time_s, value)}
    found = [one for one in stretches(Recording(series, "made")) if one.kind != "engine off"]
    assert [one.closed_loop for one in found] == [None] * 4 + [False, None]


@pytest.mark.parametrize(("value", "limit"), [(25.0, 1), (-25.0, -1), (6.25, 0)])
def test_a_clamped_trim_is_a_limit(value: float, limit: int) -> None:
    recording = make([Level(60, *LEVEL)], np.random.default_rng(11))
    name = "short_term_fuel_trim_bank_1"
    when = recording.series[name].time_s
    series = {**recording.series, name: Series(name, "%", when, np.full(when.size, value))}
    (one,) = stretches(Recording(series, "made"))
    assert one.readings[name].at_limit == limit
    assert one.readings["log_total_trim_bank_1"].at_limit == limit


def test_what_one_term_gives_up_the_other_takes_over() -> None:
    """Moves of the two terms against each other do not blur their sum."""
    recording = make([Level(60, *LEVEL)], np.random.default_rng(12), noise=0.0)
    series = dict(recording.series)
    when = np.arange(0, 60, 0.5)
    long = 4 + np.floor(when / 12)
    for name, value in (("short", 8 - np.floor(when / 12)), ("long", long)):
        full = f"{name}_term_fuel_trim_bank_1"
        series[full] = Series(full, "%", when, value)
    (one,) = stretches(Recording(series, "made"))
    total = one.readings["log_total_trim_bank_1"]
    assert total.scatter < 0.3 * one.readings["short_term_fuel_trim_bank_1"].scatter / 100
    assert total.value == pytest.approx(np.log(1.08 * 1.04), abs=0.004)


def test_many_returns_to_one_level_are_gathered() -> None:
    pair = [Level(25, *LEVEL), Level(25, 850, 42.0, 3.6, 16.8)]
    found = stretches(make(pair * 8, np.random.default_rng(13)))
    assert len(found) <= 6
    assert all(one.kind == "idle" for one in found)
    speeds = [one.value("engine_speed") for one in found]
    assert all(min(abs(speed - 700), abs(speed - 850)) < 12 for speed in speeds)


def drive(rng: np.random.Generator, seconds: int = 600) -> Recording:
    """An engine whose air is exactly 4 g/s a thousand rpm and bar, hardly ever steady."""
    when = np.arange(0, seconds, 0.25)
    knots = np.arange(0, seconds + 12, 12.0)
    rpm = np.interp(when, knots, rng.uniform(1200, 2800, knots.size))
    kpa = np.interp(when, knots, rng.uniform(35, 90, knots.size))
    flow = 4 * rpm / 1000 * kpa / 100 * np.exp(rng.normal(0, 0.02, when.size))
    road = np.full(when.size, 50.0)
    names = ("engine_speed", "intake_manifold_pressure", "mass_air_flow", "vehicle_speed")
    series = {
        name: Series(name, "", when, value)
        for name, value in zip(names, (rpm, kpa, flow, road), strict=True)
    }
    return Recording(series, "made")


def test_a_drive_gives_points_that_lie_on_the_engines_law() -> None:
    found = stretches(drive(np.random.default_rng(14)))
    assert 4 <= len(found) <= 24
    assert all(one.kind == "drive" for one in found)
    scores = []
    for one in found:
        law = 4e-5 * one.value("engine_speed") * one.value("intake_manifold_pressure")
        scores.append((one.value("mass_air_flow") - law) / one.error("mass_air_flow"))
    assert np.sqrt(np.mean(np.square(scores))) < 2.0


def test_a_drive_whose_road_speed_nobody_recorded_stands_where_it_idles_as_usual() -> None:
    """Nothing but the engine tells of a drive: calm at the lights, and a roll to one of them."""
    rng = np.random.default_rng(24)
    when = np.arange(0, 900, 0.25)
    knots = np.arange(0, 912, 12.0)
    rpm = np.interp(when, knots, rng.uniform(1200, 2800, knots.size))
    kpa = np.interp(when, knots, rng.uniform(45, 90, knots.size))
    for begin, end, idle in ((200, 250, 700.0), (420, 445, 800.0), (600, 650, 705.0)):
        calm = (when >= begin) & (when < end)
        rpm[calm], kpa[calm] = idle, 32.0
    rpm = rpm + rng.normal(0.0, 4.0, when.size)
    kpa = kpa + rng.normal(0.0, 0.3, when.size)
    values = {
        "engine_speed": rpm,
        "intake_manifold_pressure": kpa,
        "mass_air_flow": rpm * kpa / 1e4,
    }
    recording = Recording({n: Series(n, "", when, value) for n, value in values.items()}, "made")
    found = stretches(recording)
    assert {one.kind for one in found} == {"idle", "drive"}
    idles = [one.value("engine_speed") for one in found if one.kind == "idle"]
    assert idles == pytest.approx([700.0, 705.0], abs=3.0)
    driven = [one.value("engine_speed") for one in found if one.kind == "drive"]
    assert len(driven) >= 4
    assert min(driven) > 750.0


def test_nothing_to_find_is_nothing_found() -> None:
    recording = make([LEVELS[1]], np.random.default_rng(15))
    without = {n: s for n, s in recording.series.items() if n != "engine_speed"}
    assert stretches(Recording(without, "made")) == ()
    off = stretches(make([Level(60, 0, 99, 0, 17)], np.random.default_rng(16)))
    assert [one.kind for one in off] == ["engine off"]


@pytest.mark.parametrize("samples", [1, 2, 3, 5, 8])
def test_a_handful_of_samples_is_no_trouble(samples: int) -> None:
    assert stretches(first_samples(samples)) == ()


def test_a_recording_that_is_just_long_enough_has_finite_readings() -> None:
    (one,) = stretches(first_samples(10))
    assert one.kind == "idle"
    assert one.seconds < 7.0
    assert len(one.readings) > 5
    assert all(np.isfinite(reading.value) for reading in one.readings.values())
    assert all(0 < reading.standard_error < np.inf for reading in one.readings.values())


def first_samples(count: int) -> Recording:
    """An idle of which no parameter has more samples; ten of each are 6 s."""
    recording = make([LEVELS[1]], np.random.default_rng(17))
    few = {
        name: Series(name, series.unit, series.time_s[:count], series.value[:count])
        for name, series in recording.series.items()
    }
    return Recording(few, "made")
