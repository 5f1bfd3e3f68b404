"""A log of changes alone tells the same as one of all readings."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bellmouth.recording import read_recording
from bellmouth.recording.export import write_recording
from bellmouth.recording.on_change import held_between_changes
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches
from tests.recording.made import LEVELS, make


def changes(recording: Recording) -> Recording:
    """The recording without every reading that is as the one before."""
    series = {}
    for name, one in recording.series.items():
        kept = np.concatenate([[True], one.value[1:] != one.value[:-1]])
        series[name] = replace(one, time_s=one.time_s[kept], value=one.value[kept])
    return replace(recording, series=series)


@pytest.mark.parametrize("ending", [".csv", ".parquet", ".mf4"])
def test_what_does_not_change_is_read_all_the_same(ending: str, tmp_path: Path) -> None:
    polled = make(LEVELS, np.random.default_rng(1))
    file = tmp_path / f"made{ending}"
    write_recording(changes(polled), file)
    recording = read_recording(file)
    assert recording.notes[-1].startswith("No reading is as the one before")
    wanted, found = stretches(polled), stretches(recording)
    assert [one.kind for one in found] == [one.kind for one in wanted]
    for one, other in zip(found, wanted, strict=True):
        if one.kind == "engine off":
            continue
        trim, told = (each.readings["log_total_trim_bank_1"] for each in (one, other))
        assert trim.value == pytest.approx(told.value, abs=2 * told.standard_error)
        for name in ("intake_manifold_pressure", "mass_air_flow", "throttle_position"):
            assert one.value(name) == pytest.approx(other.value(name), abs=2 * other.error(name))
        assert one.warm


def test_what_was_asked_for_one_after_another_is_left_alone() -> None:
    rng = np.random.default_rng(2)
    polled = make(LEVELS, rng)
    assert held_between_changes(polled) is polled
    # Few readings, and fine ones that are never alike, tell nothing.
    free = {
        name: replace(one, value=one.value + rng.normal(0, 0.01, one.value.size))
        for name, one in polled.series.items()
    }
    assert held_between_changes(replace(polled, series=free)).notes == ()
