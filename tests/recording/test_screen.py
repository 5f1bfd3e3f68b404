"""Samples that cannot be, and a column of which most cannot."""

import numpy as np
import pytest

from bellmouth.errors import RecordingError
from bellmouth.recording.quality import impossible
from bellmouth.recording.screen import screen
from bellmouth.recording.series import Recording, Series

_NAME = "intake_manifold_pressure"


def _recording(*values: float) -> Recording:
    """Pressures beside a speed; 255 kPa is the most that the standard's byte holds."""
    time_s = np.arange(float(len(values)))
    speed = Series("engine_speed", "rpm", time_s, np.full(len(values), 700.0))
    return Recording(
        {"engine_speed": speed, _NAME: Series(_NAME, "kPa", time_s, np.array(values))}, "made.csv"
    )


def _screened(*values: float) -> Recording:
    return screen(_recording(*values), {"engine_speed": "rpm", _NAME: "MAP"})


def test_a_few_that_cannot_be_are_left_out_and_counted() -> None:
    kept = _screened(30.0, 31.0, 700.0)
    assert kept.series[_NAME].value.tolist() == [30.0, 31.0]
    assert kept.notes == ('Column "MAP": 1 sample outside 0 to 255 kPa left out.',)
    assert [one.split(":")[0] for one in impossible(kept)] == [_NAME]


def test_where_most_cannot_be_the_rest_is_not_believed_either() -> None:
    """Millibars under a title that says kPa: what is below 255 of them is a pressure as well."""
    kept = _screened(310.0, 320.0, 200.0)
    assert _NAME not in kept.series
    assert kept.dropped == {_NAME: 2}
    assert kept.notes == (
        'Column "MAP": 2 of 3 samples are outside 0 to 255 kPa, so that the others are not believed'
        " either. Is its unit right?",
    )
    assert impossible(kept) == []


def test_where_all_cannot_be_the_file_is_refused() -> None:
    with pytest.raises(RecordingError, match="every value is outside what is possible"):
        _screened(310.0, 320.0, 330.0)


def test_what_can_be_stays_as_it_is() -> None:
    whole = _recording(30.0, 31.0)
    assert screen(whole, {}) is whole


def test_where_most_of_all_there_is_cannot_be_the_file_is_refused() -> None:
    time_s = np.arange(3.0)
    speed = Series("engine_speed", "rpm", time_s, np.array([700.0, 60000.0, 60000.0]))
    with pytest.raises(RecordingError, match="2 of 3 samples are outside 0 to 12000 rpm"):
        screen(Recording({"engine_speed": speed}, "made.csv"), {"engine_speed": "rpm"})
