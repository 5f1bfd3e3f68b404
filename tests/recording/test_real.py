"""Real recordings, where they are at hand: they stay outside the repository."""

from pathlib import Path

import numpy as np
import pytest

from bellmouth.recording import read_recording, stretches

DATA = Path(__file__).parents[3] / "shared" / "data"
IDLES = sorted(DATA.glob("idle/*.csv.gz"))
BENCH = sorted(DATA.glob("bench/*.csv.gz"))

pytestmark = pytest.mark.skipif(not IDLES, reason="../shared/data is not here")


@pytest.mark.parametrize("path", IDLES, ids=lambda path: path.name)
def test_a_real_idle_gives_a_few_idles_and_nothing_else(path: Path) -> None:
    recording = read_recording(path)
    assert recording.notes == ()
    found = stretches(recording)
    idles = [one for one in found if one.kind == "idle"]
    assert {one.kind for one in found} <= {"idle", "engine off"}
    assert 1 <= len(idles) <= 6
    for one in idles:
        # What this car is known to do: 640 to 900 rpm warm, 24 to 42 kPa.
        if one.warm:
            assert 620 < one.value("engine_speed") < 920
            assert 23 < one.value("intake_manifold_pressure") < 42
        assert one.error("intake_manifold_pressure") < 2.5
        assert abs(one.value("log_total_trim_bank_1")) < 0.12


def test_a_real_cold_start_is_cold_first_and_warm_later() -> None:
    found = [one for one in stretches(read_recording(IDLES[0])) if one.kind == "idle"]
    assert found[0].warm is False
    assert any(one.warm for one in found)


def test_a_real_engine_off_shows_the_air_outside() -> None:
    off = stretches(read_recording(IDLES[0]))[0]
    assert off.kind == "engine off"
    assert off.value("intake_manifold_pressure") == pytest.approx(101, abs=0.5)


@pytest.mark.parametrize("path", BENCH, ids=lambda path: path.name)
def test_a_real_drive_gives_idles_and_points(path: Path) -> None:
    found = stretches(read_recording(path))
    kinds = [one.kind for one in found]
    assert len(found) <= 24
    assert kinds.count("drive") >= 8
    assert "idle" in kinds
    points = [one for one in found if one.kind == "drive"]
    spread = np.array([one.value("intake_manifold_pressure") for one in points])
    assert spread.min() < 45
    assert spread.max() > 75
    for one in points:
        assert one.error("mass_air_flow") < 0.08 * one.value("mass_air_flow")
