"""Recordings of one real car, presumed healthy: it must not be sent for repair.

Source: the public data set "carOBD" (open and free to everyone, its page says), 24 idles. They are
read where they lie and skipped where that folder is absent.
"""

from pathlib import Path

import pytest

from bellmouth.car.description import Car, Known
from bellmouth.finding.causes import called
from bellmouth.finding.find import find
from bellmouth.recording import Recording, read_recording

IDLES = Path(__file__).parents[3] / "shared" / "data" / "idle"
CAR = Car(Known(1.496), "pressure", cylinders=4, banks=1)

pytestmark = pytest.mark.skipif(not IDLES.is_dir(), reason=f"real recordings are not at {IDLES}")


@pytest.fixture(scope="module")
def idles() -> dict[str, Recording]:
    return {path.name: read_recording(path) for path in sorted(IDLES.glob("idle_*.csv.gz"))}


def test_no_fault_is_likelier_than_not_on_a_healthy_car(idles: dict[str, Recording]) -> None:
    """Healthy on top in at least 23 of 24, no fault above 50 %, none above 30 % unexplained."""
    on_top = 0
    for recording in idles.values():
        told = find(recording, CAR)
        faults = [cause for cause in told.causes if cause.cause not in ("healthy", "unexplained")]
        on_top += told.causes[0].cause == "healthy"
        assert faults[0].probability < 0.5
        if faults[0].probability > 0.3:
            name = called(faults[0].cause)
            assert any(evidence.what.startswith(f"{name}: ") for evidence in told.evidence)
    assert on_top >= 23


def test_another_day_as_reference_accuses_nobody(idles: dict[str, Recording]) -> None:
    """Loads and half-warm idles differ from day to day: that is no fault."""
    reference = idles["idle_13.csv.gz"]
    accused = []
    for name, recording in idles.items():
        if recording is reference:
            continue
        top = find(recording, CAR, references=[reference]).causes[0]
        if top.cause != "healthy" and top.probability > 0.5:
            accused.append((name, top.cause, top.probability))
    assert accused == []
