"""Samples as they come become actions, events and silence."""

import math

import pytest

from bellmouth.learning.evidence import Moment
from bellmouth.learning.live import LiveReader
from bellmouth.learning.samples import Samples

_LIT, _DARK = float(1 << 31), 0.0
PEDAL = "accelerator_pedal_position_d"


class Told:
    def __init__(self) -> None:
        self.actions: list[tuple[str, Moment]] = []
        self.events: list[tuple[str, Moment | None]] = []
        self.until_s = -math.inf

    def acted(self, action: str, moment: Moment) -> None:
        self.actions.append((action, moment))

    def mark(self, event: str, moment: Moment | None = None) -> None:
        self.events.append((event, moment))

    def reading(self, name: str, value: float, at_s: float) -> None:
        pass

    def seen_until(self, at_s: float) -> None:
        self.until_s = max(self.until_s, at_s)


def test_a_press_lies_between_the_samples_around_it() -> None:
    told = Told()
    reader = LiveReader(told)
    for at_s, value in [
        (0.0, 15),
        (0.1, 15),
        (0.2, 40),
        (0.3, 78),
        (0.4, 78),
        (0.5, 50),
        (0.6, 16),
    ]:
        reader.sample(PEDAL, value, at_s)
    assert told.actions[1:] == [("press", Moment(0.1, 0.3)), ("release", Moment(0.4, 0.6))]


def test_half_a_press_is_none() -> None:
    told = Told()
    reader = LiveReader(told)
    for at_s, value in [(0.0, 15), (0.1, 45), (0.2, 15)]:
        reader.sample(PEDAL, value, at_s)
    assert [action for action, _ in told.actions] == ["key_on"]


def test_silence_is_the_key_turned_off_and_an_answer_turned_on() -> None:
    told = Told()
    reader = LiveReader(told, 0.1)
    reader.sample("engine_speed", 0.0, 5.0)
    for tenth in range(1, 30):
        reader.silent(5.0 + 0.1 * tenth)
    reader.sample("engine_speed", 0.0, 8.0)
    off, on = told.actions[1:]
    assert off == ("key_off", Moment(5.0, 5.1))
    assert on[0] == "key_on"
    assert on[1].low_s < 7.9
    assert on[1].high_s == 8.0


def test_a_car_that_is_silent_from_the_start_has_its_key_off() -> None:
    told = Told()
    LiveReader(told).silent(3.0)
    assert told.actions == [("key_off", Moment(-math.inf, 3.0))]


def test_the_engine_turns_and_then_runs() -> None:
    told = Told()
    reader = LiveReader(told)
    for at_s, speed in [(0.0, 0), (0.5, 210), (1.0, 230), (1.5, 900)]:
        reader.sample("engine_speed", speed, at_s)
    assert told.actions[1:] == [
        ("engine_start", Moment(0.0, 0.5)),
        ("engine_runs", Moment(1.0, 1.5)),
    ]


def test_the_lamp_blinks_and_then_stays_on() -> None:
    told = Told()
    reader = LiveReader(told)
    for tenth in range(80):
        at_s = 0.1 * tenth
        blinks = 1.0 <= at_s < 4.0 and (at_s % 1.0) < 0.5 - 1e-9
        reader.sample("monitor_status", _LIT if blinks or at_s >= 5.0 else _DARK, at_s)
        if at_s > 4.4 and at_s < 5.0:
            reader.sample("monitor_status", _DARK, at_s)
    names = [event for event, _ in told.events]
    assert names == ["lamp_blinks", "lamp_off", "lamp_on"]
    first = told.events[0][1]
    assert first is not None
    assert first.low_s < 1.0 <= first.high_s


def test_a_blinking_lamp_that_stays_on_is_steady_soon_after() -> None:
    told = Told()
    reader = LiveReader(told)
    for tenth in range(60):
        at_s = 0.1 * tenth
        lit = at_s >= 3.0 - 1e-9 or (at_s % 1.0) < 0.5 - 1e-9
        before = len(told.events)
        reader.sample("monitor_status", _LIT if lit else _DARK, at_s)
        if len(told.events) > before and told.events[-1][0] == "lamp_steady":
            assert at_s < 4.2
    assert [event for event, _ in told.events] == ["lamp_blinks", "lamp_steady"]
    steady = told.events[-1][1]
    assert steady is not None
    assert steady.low_s < 3.0 <= steady.high_s + 1e-9


def test_samples_become_a_recording_on_their_own_clock() -> None:
    samples = Samples()
    samples.add("engine_speed", 700.0, 50.0)
    samples.add("engine_speed", 701.0, 50.5)
    samples.add("engine_speed", 702.0, 50.5)
    samples.add("vehicle_speed", 0.0, 50.2)
    recording = samples.recording("live")
    assert recording is not None
    assert recording.begins_s == 50.0
    assert recording.series["engine_speed"].time_s.tolist() == [0.0, 0.5]
    assert recording.series["vehicle_speed"].unit == "km/h"
    assert Samples().recording("live") is None


def test_silence_before_the_first_answer_is_on_record() -> None:
    samples = Samples(since_s=1000.0)
    samples.add("engine_speed", 0.0, 1012.0)
    recording = samples.recording("live")
    assert recording is not None
    assert recording.begins_s == 12.0
    assert samples.marks({"lamp_steady": [1020.5]}) == {"lamp_steady": [20.5]}


def _held(drops: dict[int, float], rate_hz: float = 10.0) -> Told:
    """The pedal down from 1 to 9 s, with other readings at some samples."""
    told = Told()
    reader = LiveReader(told, 1.0 / rate_hz)
    for count in range(int(10.0 * rate_hz)):
        at_s = count / rate_hz
        reader.sample(PEDAL, drops.get(count, 80.0 if 1.0 <= at_s < 9.0 else 15.0), at_s)
        reader.told_until(at_s)
    return told


@pytest.mark.parametrize("reads", [0.0, 15.0, 20.0])
def test_a_pedal_that_drops_out_of_a_hold_for_a_sample_was_not_let_go(reads: float) -> None:
    told = _held({50: reads})
    assert [action for action, _ in told.actions[1:]] == ["press", "release"]
    assert told.actions[-1][1] == Moment(8.9, 9.0)


def test_a_pedal_that_reads_up_for_two_samples_was_let_go() -> None:
    told = _held({50: 15.0, 51: 15.0})
    assert [action for action, _ in told.actions[1:]] == ["press", "release", "press", "release"]
    assert told.actions[2][1] == Moment(4.9, 5.0)


def test_what_may_be_a_dropout_is_told_at_once_where_the_next_sample_comes_late() -> None:
    """Between such samples a foot can leave the floor and be back."""
    told = _held({20: 15.0}, rate_hz=4.0)
    assert told.actions[2] == ("release", Moment(4.75, 5.0))


def test_while_a_release_is_not_certain_nothing_is_taken_to_be_missing() -> None:
    told = Told()
    reader = LiveReader(told)
    reader.sample("engine_speed", 0.0, 0.0)
    for count in range(30):
        reader.sample("engine_speed", 0.0, 0.1 * count)
        reader.sample(PEDAL, 15.0 if count in (0, 29) else 80.0, 0.1 * count)
        reader.told_until(0.1 * count)
    assert told.until_s == pytest.approx(2.8)
    reader.silent(4.5)  # and then the key is turned off
    assert [action for action, _ in told.actions[-2:]] == ["release", "key_off"]


@pytest.mark.parametrize(("at", "reads"), [(60, 0.0), (20, 800.0)])
def test_an_engine_that_stands_or_turns_for_a_sample_was_not_started(at: int, reads: float) -> None:
    told = Told()
    reader = LiveReader(told)
    for count in range(90):
        speed = 0.0 if count < 40 else 210.0 if count < 46 else 750.0
        reader.sample("engine_speed", reads if count == at else speed, 0.1 * count)
    assert [action for action, _ in told.actions] == ["key_on", "engine_start", "engine_runs"]
    started = told.actions[1][1]
    assert (started.low_s, started.high_s) == pytest.approx((3.9, 4.0))
