"""From a recording to what happened: presses, key, engine, lamp, each with its interval."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.learning.evidence import Moment, between
from bellmouth.learning.ignition import read_bus, read_engine, read_key
from bellmouth.learning.lamp import read_lamp
from bellmouth.learning.pedal import read_pedal
from bellmouth.recording.series import Floats, Recording, Series
from tests.learning.made import Attempt, recorded

PEDAL = "accelerator_pedal_position_d"


def _pedal(time: Floats, share: Floats, rest: float = 15.0, floor: float = 82.0) -> Recording:
    value = rest + (floor - rest) * share
    return Recording({PEDAL: Series(PEDAL, "%", time, value)}, "made")


def _ramps(
    time: Floats, presses: list[tuple[float, float]], ramp_s: float, depth: float = 1.0
) -> Floats:
    """Presses whose threshold at half depth is crossed at the given times."""
    share = np.zeros(time.size)
    for begin, end in presses:
        up = np.clip((time - begin) / ramp_s + 0.5, 0.0, 1.0)
        down = np.clip((end - time) / ramp_s + 0.5, 0.0, 1.0)
        share = np.maximum(share, np.minimum(up, down) * depth)
    return share


@given(
    begin=st.floats(2.0, 3.0),
    lasts=st.floats(0.5, 3.0),
    ramp_s=st.floats(0.02, 0.25),
    rate_hz=st.floats(8.0, 30.0),
    rest=st.floats(0.0, 20.0),
    floor=st.floats(76.0, 100.0),
)
def test_the_moment_lies_within_its_interval(
    begin: float, lasts: float, ramp_s: float, rate_hz: float, rest: float, floor: float
) -> None:
    time = np.arange(0.0, 12.0, 1.0 / rate_hz)
    presses = [(begin, begin + lasts), (8.0, 9.5)]
    found = read_pedal(_pedal(time, _ramps(time, presses, ramp_s), rest, floor))
    assert found is not None
    assert len(found.presses) == 2
    for press, (down, up) in zip(found.presses, presses, strict=True):
        assert press.depth == "full"
        assert press.begin.low_s <= down <= press.begin.high_s
        assert press.end.low_s <= up <= press.end.high_s
        assert press.begin.high_s - press.begin.low_s <= ramp_s + 2.0 / rate_hz + 1e-9


def test_a_sample_on_the_way_narrows_the_interval() -> None:
    time = np.arange(0.0, 12.0, 0.1)
    wide = read_pedal(_pedal(time, _ramps(time, [(3.05, 5.0), (8.0, 9.5)], 0.02)))
    narrow = read_pedal(_pedal(time, _ramps(time, [(3.1, 5.0), (8.0, 9.5)], 0.16)))
    assert wide is not None
    assert narrow is not None
    begin = narrow.presses[0].begin
    assert begin.high_s - begin.low_s < 0.2
    begin = wide.presses[0].begin
    assert (begin.low_s, begin.high_s) == pytest.approx((3.0, 3.1))


def test_a_shallow_press_is_told_from_a_full_one() -> None:
    time = np.arange(0.0, 12.0, 0.05)
    share = np.maximum(_ramps(time, [(3.0, 3.6)], 0.1, 0.5), _ramps(time, [(8.0, 9.5)], 0.1))
    found = read_pedal(_pedal(time, share))
    assert found is not None
    assert [press.depth for press in found.presses] == ["shallow", "full"]


def test_two_samples_on_the_way_are_no_shallow_press() -> None:
    """Asked every 0.23 s: once on the way down, once on the way up, and the floor between."""
    time = np.array([*np.arange(0.0, 3.0, 0.117), 3.0, 3.23, *np.arange(3.46, 12.0, 0.117)])
    truth = _ramps(time, [(2.99, 3.24)], 0.08)
    assert truth[(time >= 3.0) & (time <= 3.23)] == pytest.approx([0.63, 0.63], abs=0.02)
    found = read_pedal(_pedal(time, np.maximum(truth, _ramps(time, [(8.0, 9.5)], 0.1))))
    assert found is not None
    assert [press.depth for press in found.presses] == ["unsure", "full"]


def test_a_hold_that_is_let_up_between_says_so() -> None:
    time = np.arange(0.0, 12.0, 0.05)
    share = _ramps(time, [(3.0, 9.0)], 0.1)
    share[(time > 5.0) & (time < 5.3)] = 0.35
    found = read_pedal(_pedal(time, share))
    assert found is not None
    assert [press.held for press in found.presses] == ["eased"]


def test_a_pedal_that_never_reaches_far_is_unsure() -> None:
    time = np.arange(0.0, 12.0, 0.05)
    found = read_pedal(_pedal(time, _ramps(time, [(3.0, 9.0)], 0.1), floor=40.0))
    assert found is not None
    assert [press.depth for press in found.presses] == ["unsure"]
    assert "this recording cannot say" in found.leans[0]


def test_a_pedal_at_rest_has_no_press() -> None:
    time = np.arange(0.0, 12.0, 0.05)
    found = read_pedal(_pedal(time, 0.01 * np.sin(9.0 * time)))
    assert found is not None
    assert found.presses == ()
    assert found.notes == ("The pedal never moved.",)


def test_no_pedal_is_none() -> None:
    assert read_pedal(recorded(Attempt(on=((0.0, 5.0),)), without=[PEDAL])) is None


@pytest.mark.parametrize("together", [True, False])
def test_quiet_of_every_parameter_is_key_off(together: bool) -> None:
    recording = recorded(Attempt(on=((0.0, 4.0), (15.3, 20.0))), 10.0, together=together)
    keys, notes = read_key(recording, read_bus(recording))
    assert [key.kind for key in keys] == ["key_on", "key_off", "key_on"]
    assert keys[1].at.low_s <= 4.0 <= keys[1].at.high_s
    assert keys[2].at.low_s <= 15.3 <= keys[2].at.high_s
    assert not notes


def test_nothing_at_first_is_key_off_too() -> None:
    attempt = Attempt(on=((12.0, 20.0),))
    recording = recorded(attempt, 10.0, begins_s=12.0)
    keys, notes = read_key(recording, read_bus(recording))
    assert [key.kind for key in keys] == ["key_off", "key_on"]
    assert between(keys[0].at, keys[1].at)[1] >= 11.7
    assert notes == ("Nothing was sampled before 12.0 s; taken as key off until then.",)


def test_the_start_is_when_the_starter_turns_and_running_comes_later() -> None:
    recording = recorded(Attempt(on=((0.0, 20.0),), engine=((5.0, 20.0),)), 20.0)
    (start,) = read_engine(recording, read_bus(recording))
    assert start.at.low_s <= 5.0 <= start.at.high_s
    assert start.then is not None
    assert start.then.low_s <= 5.6 <= start.then.high_s


def test_a_stall_is_a_stop() -> None:
    recording = recorded(Attempt(on=((0.0, 20.0),), engine=((5.0, 12.0),)), 20.0)
    kinds = [item.kind for item in read_engine(recording, read_bus(recording))]
    assert kinds == ["engine_start", "engine_stop"]


def _lamp(lit: Floats, rate_hz: float = 10.0) -> Recording:
    time = np.arange(lit.size) / rate_hz
    return Recording({"monitor_status": Series("monitor_status", "bits", time, lit * 2.0**31)}, "m")


def test_the_lamp_blinks_then_stays_on_then_goes_out() -> None:
    time = np.arange(0.0, 40.0, 0.1)
    blinking = (time >= 10.0) & (time < 20.0)
    lit = (blinking & ((time - 10.0) % 1.0 < 0.5)) | ((time >= 20.0) & (time < 30.0))
    found = read_lamp(_lamp(lit.astype(float)))
    assert found is not None
    assert found["lamp_blinks"][0].low_s <= 10.0 <= found["lamp_blinks"][0].high_s + 1e-9
    assert found["lamp_steady"][0].low_s <= 20.0 <= found["lamp_steady"][0].high_s + 1e-9
    assert found["lamp_off"][0].high_s == pytest.approx(30.0)


def test_a_lamp_read_once_a_second_shows_no_blinking() -> None:
    assert read_lamp(_lamp(np.ones(30), rate_hz=1.0)) is None


def test_times_between_moments_add_their_uncertainty() -> None:
    assert between(Moment(1.0, 1.2), Moment(5.0, 5.4)) == pytest.approx((4.1, 3.8, 4.4))
