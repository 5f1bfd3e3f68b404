"""Two recordings made apart share no samples; two cut from one do."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bellmouth.recording.overlap import overlap_s
from bellmouth.recording.series import Recording, Series


def made(seed: int, count: int = 400, start: int = 0, stop: int | None = None) -> Recording:
    rng = np.random.default_rng(seed)
    time = np.cumsum(rng.uniform(0.05, 0.2, count))
    speed = np.round(700.0 + np.cumsum(rng.normal(0, 4.0, count)), 1)
    part = slice(start, stop)
    series = {
        "engine_speed": Series("engine_speed", "rpm", time[part] - time[start], speed[part]),
        "coolant": Series("coolant", "degC", time[part] - time[start], np.full(count, 90.0)[part]),
    }
    return Recording(series, f"{seed}.csv")


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 250), st.integers(60, 140))
def test_a_piece_is_found_wherever_it_was_cut(start: int, length: int) -> None:
    piece = made(1, start=start, stop=start + length)
    assert overlap_s(made(1), piece) > 0.0
    assert overlap_s(piece, made(1)) > 0.0


def test_recordings_made_apart_share_nothing() -> None:
    assert overlap_s(made(1), made(2)) == 0.0


def test_pieces_that_do_not_overlap_share_nothing() -> None:
    assert overlap_s(made(1, stop=200), made(1, start=200)) == 0.0


def test_how_long_is_about_right() -> None:
    whole, piece = made(1), made(1, start=100, stop=300)
    seconds = piece.series["engine_speed"].time_s[-1]
    assert overlap_s(whole, piece) == pytest.approx(seconds, rel=0.15)


def test_what_does_not_move_is_no_evidence() -> None:
    flat = Series("coolant", "degC", np.arange(100.0), np.full(100, 90.0))
    one = Recording({"coolant": flat}, "a.csv")
    assert overlap_s(one, one) == 0.0


def test_pieces_of_a_log_of_changes_are_known_although_held_readings_stand_elsewhere() -> None:
    """Between changes a reading is held at times that begin with the piece."""
    whole = made(1)
    speed = whole.series["engine_speed"]
    value = np.repeat(speed.value[::4], 4)[: speed.value.size]

    def held(start: int, shift_s: float) -> Recording:
        moves = np.concatenate([[True], value[start + 1 :] != value[start:-1]])
        time = speed.time_s[start:] + np.where(moves, 0.0, shift_s) - speed.time_s[start]
        return Recording({"engine_speed": Series("engine_speed", "rpm", time, value[start:])}, "a")

    assert overlap_s(held(0, 0.0), held(40, 0.03)) > 20.0
