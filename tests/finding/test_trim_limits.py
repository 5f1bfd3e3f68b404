"""Limits of trims: points of a drive stand where the steady ones of their recording do."""

from dataclasses import replace

import numpy as np

from bellmouth.finding.observations import observe
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, reading, stretches


def _driven(trim: float) -> Stretch:
    """A point of a drive that no steadiness was asked of: nobody said that it is at a limit."""
    held = stretches()[1]
    readings = {**held.readings, "log_total_trim_bank_1": reading(trim, 0.004)}
    return replace(held, kind="drive", start_s=200.0, end_s=210.0, readings=readings)


def test_a_drive_stands_at_the_limit_that_its_steady_points_stand_at() -> None:
    steady = stretches(fuel=0.65, trim_limit=0.25)
    found = observe([*steady, _driven(0.247), _driven(0.15)], [], car())
    assert found.trim_limit[:, 0].tolist() == [1.0, 1.0, 1.0, 1.0, 0.0]


def test_a_limit_of_one_recording_is_none_of_another() -> None:
    found = observe([*stretches(), _driven(0.247)], [stretches(fuel=0.65, trim_limit=0.25)], car())
    assert np.flatnonzero(found.trim_limit[:, 0]).tolist() == [4, 5, 6]
