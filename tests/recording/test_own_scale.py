"""A car that says its own maxima (4F and 50): its range and steps are not the standard's."""

from pathlib import Path

import numpy as np
import pytest

from bellmouth.recording import Recording, read_recording
from bellmouth.recording.quantum import quantum
from tests.recording.bus_made import Bus

_NAME = "intake_manifold_pressure"
_CSV = f"time [s],engine_speed [rpm],{_NAME} [kPa],{_NAME}_maximum [kPa]\n"


def _log(tmp_path: Path, maximum: str) -> Recording:
    """35 kPa, then 326, on a scale of 640."""
    bus = Bus()
    bus.ask("014F")
    bus.say(f"414F000000{maximum}")
    for kpa in [14] * 20 + [130] * 20:
        bus.ask("010C0B")
        bus.say(f"410C0B200B{kpa:02X}")
        bus.time_s += 0.5
    return read_recording(bus.write(tmp_path / "boosted.log"))


def test_what_lies_beyond_the_standards_range_is_kept(tmp_path: Path) -> None:
    recording = _log(tmp_path, "40")
    pressure = recording.series[_NAME]
    assert recording.dropped == {}
    assert pressure.value[[0, -1]] == pytest.approx([14 * 640 / 255, 130 * 640 / 255])
    assert quantum(pressure) == pytest.approx(640 / 255)


def test_a_maximum_of_nothing_changes_nothing(tmp_path: Path) -> None:
    recording = _log(tmp_path, "00")
    assert recording.series[_NAME].value[-1] == 130.0
    assert quantum(recording.series[_NAME]) == 1.0


@pytest.mark.parametrize(("maximum", "kept"), [(640, [35.1, 326.3]), (100, [35.1])])
def test_a_file_of_another_format_holds_the_maximum_as_well(
    tmp_path: Path, maximum: int, kept: list[float]
) -> None:
    """One below the standard's takes nothing away: who wrote the file may not have heeded it."""
    rows = [f"0.0,700,,{maximum}"]
    rows += [f"{time:g},700,{35.1 if time < 20 else 326.3}," for time in np.arange(0.5, 35.0, 0.5)]
    file = tmp_path / "boosted.csv"
    file.write_text(_CSV + "\n".join(rows) + "\n")
    recording = read_recording(file)
    assert np.unique(recording.series[_NAME].value).tolist() == kept
    assert quantum(recording.series[_NAME]) == pytest.approx(maximum / 255)


def test_what_lies_beyond_its_own_range_is_told_with_that(tmp_path: Path) -> None:
    rows = "\n".join(f"{t},700,{p},640" for t, p in enumerate([35.0] * 30 + [700.0]))
    file = tmp_path / "boosted.csv"
    file.write_text(_CSV + rows + "\n")
    assert any("1 sample outside 0 to 640 kPa" in note for note in read_recording(file).notes)
