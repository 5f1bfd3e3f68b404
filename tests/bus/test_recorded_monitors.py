"""Monitors out of a recording."""

import numpy as np
import pytest

from bellmouth.bus.readiness import advise, read_rules
from bellmouth.bus.recorded_monitors import recorded_monitors
from bellmouth.bus.reports import Codes
from bellmouth.errors import RecordingError
from bellmouth.j1979.addressing import ENGINE
from bellmouth.recording.series import Recording, Series


def recording(*words: str) -> Recording:
    value = np.array([float(int(word, 16)) for word in words])
    series = Series("monitor_status", "bits", np.arange(len(value), dtype=float), value)
    return Recording({"monitor_status": series}, "after.parquet")


def test_the_last_value_counts() -> None:
    """Parameter 01, SAE J1979 from memory: byte A bit 7 the lamp, byte D what is incomplete."""
    found = recorded_monitors(recording("8307FF00", "000765FF", "00076500"))
    assert not found[ENGINE].lamp_on
    assert found[ENGINE].ready
    none: dict[int, tuple[str, ...]] = {ENGINE: ()}
    assert advise(found, Codes(none, none, none), read_rules()).verdict == "go"
    # Codes that nobody read are not codes that are not there.
    assert advise(found, Codes(), read_rules()).verdict == "wait"


def test_what_is_incomplete_has_to_be_driven() -> None:
    found = recorded_monitors(recording("000765FF"))
    assert not found[ENGINE].ready
    assert advise(found, Codes(), read_rules()).verdict != "go"


def test_a_recording_without_them_is_a_sentence() -> None:
    nothing = Recording({}, "after.parquet")
    with pytest.raises(RecordingError, match=r"after\.parquet: holds no monitor_status"):
        recorded_monitors(nothing)


def test_a_recording_is_not_told_to_switch_its_ignition_on() -> None:
    advice = advise(recorded_monitors(recording("000765FF")), None, read_rules())
    assert advice.verdict == "wait"
    assert advice.why[0].startswith("A recording holds no trouble codes")
    assert not any("ask again" in one for one in advice.why)
