"""What tells a trim at the controller's limit from one that merely stands high and still."""

from collections.abc import Mapping

import numpy as np
import pytest

from bellmouth.recording.series import Floats, Recording, Series
from bellmouth.recording.steady import stretches
from tests.recording.made import LEVELS, make

ENDS = np.cumsum([level.seconds for level in LEVELS])  # key on, idle, 1500, 2500, idle
STEP = 100.0 / 128.0
WHEN = np.arange(0.0, float(ENDS[-1]), 0.5)
CHANGES = sum(np.abs(WHEN - end) < 3.0 for end in ENDS[1:-1]) > 0
SENSOR = "oxygen_sensor_voltage_bank_1_sensor_1"


def at_limit(terms: Mapping[str, Floats], *others: Series) -> dict[str, list[int]]:
    """``at_limit`` of each bank's total in each running stretch, by terms like ``short 1`` [%]."""
    recording = make(LEVELS, np.random.default_rng(5), samples_per_s=12.0)
    series = dict(recording.series)
    for name, value in terms.items():
        term, bank = name.split()
        full = f"{term}_term_fuel_trim_bank_{bank}"
        series[full] = Series(full, "%", WHEN, np.round(value / STEP) * STEP)
    series |= {one.name: one for one in others}
    found = [s for s in stretches(Recording(series, "made")) if s.kind != "engine off"]
    return {
        bank: [s.readings[f"log_total_trim_bank_{bank}"].at_limit for s in found]
        for bank in {name.split()[1] for name in terms}
    }


def level(value: float) -> Floats:
    return np.full(len(WHEN), value)


def volts(every_s: float, value: Floats) -> Series:
    step = int(every_s / 0.5)
    return Series(SENSOR, "V", WHEN[::step], value[::step])


def test_what_never_goes_further_is_taken_for_a_limit() -> None:
    """A very quiet loop and a clamp are one and the same where nothing else is told."""
    assert at_limit({"short 1": level(2.0), "long 1": level(20.0)}) == {"1": [1] * 4}


def test_a_total_that_goes_further_between_stretches_is_at_no_limit() -> None:
    """The loop meets the pedal's movements, further out than where it then stands."""
    short = np.where(CHANGES, 6.0, 2.0)
    assert at_limit({"short 1": short, "long 1": level(20.0)}) == {"1": [0] * 4}


def test_terms_that_jump_between_two_readings_do_not_look_further_out() -> None:
    """A long trim kept by operating point jumps as the pedal moves; it is read seldom."""
    fast = (ENDS[1] < WHEN) & (ENDS[3] > WHEN)
    long = np.where(fast, 10.0, 22.0)
    seen = np.arange(0, len(WHEN), 14)
    recording = make(LEVELS, np.random.default_rng(5), samples_per_s=12.0)
    series = dict(recording.series)
    for name, time, value in (
        ("short", WHEN, 28.0 - long), ("long", WHEN[seen], long[seen]),
    ):  # fmt: skip
        full = f"{name}_term_fuel_trim_bank_1"
        series[full] = Series(full, "%", time, np.round(value / STEP) * STEP)
    found = [s for s in stretches(Recording(series, "made")) if s.kind == "idle"]
    assert [s.readings["log_total_trim_bank_1"].at_limit for s in found] == [1, 1]


@pytest.mark.parametrize(("every_s", "limit"), [(30.0, 0), (2.0, 1)])
def test_a_sensor_on_one_side_counts_once_it_was_seen_often(every_s: float, limit: int) -> None:
    """Two readings on one side are chance where it switches."""
    wander = 2.5 * np.sin(WHEN)
    terms = {"short 1": wander, "long 1": level(14.0)}
    assert at_limit(terms, volts(every_s, level(0.1))) == {"1": [limit] * 4}


def test_where_the_sensor_switches_nothing_as_high_is_at_a_limit() -> None:
    switching = np.where(np.arange(len(WHEN)) % 8 < 4, 0.1, 0.8)
    terms = {"short 1": level(2.0), "long 1": level(20.0)}
    assert at_limit(terms, volts(1.0, switching)) == {"1": [0] * 4}


def test_a_wide_range_sensor_at_its_aim_says_that_the_loop_got_there() -> None:
    name = "wide_range_sensor_1_equivalence_ratio_with_current"
    terms = {"short 1": level(2.0), "long 1": level(20.0)}
    for lean, limit in ((1.0, 0), (1.08, 1)):
        sensor = Series(name, "ratio", WHEN, level(lean))
        assert at_limit(terms, sensor) == {"1": [limit] * 4}


def test_both_banks_have_one_limit() -> None:
    """One wanders on its way to the clamp that the other shows."""
    restless = np.where(ENDS[2] > WHEN, 2.0 - 1.8 * (np.arange(len(WHEN)) % 2), 2.0)
    terms = {
        "short 1": level(2.0), "long 1": level(20.0),
        "short 2": restless, "long 2": level(20.0),
    }  # fmt: skip
    found = at_limit(terms)
    assert found["1"] == [1] * 4
    assert found["2"][2:] == [1, 1]
    lower = at_limit({**terms, "long 2": level(12.0)})
    assert lower == {"1": [1] * 4, "2": [0] * 4}
