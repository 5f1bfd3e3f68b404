"""The judge: each step's time, margin and judgement; overall; what follows."""

import math
import re
from dataclasses import replace

import pytest

from bellmouth.errors import ProcedureError
from bellmouth.learning import find_procedure, judge
from bellmouth.learning.judgement import Judgement, StepJudgement
from bellmouth.learning.procedure_reader import procedure_from_text
from tests.learning.made import Attempt, idle_air, recorded

NAME = "idle-air-learning-by-pedal"


def line_of(judged: Judgement, step: str) -> StepJudgement:
    return next(line for line in judged.steps if line.step == step)


def judge_of(attempt: Attempt, rate_hz: float = 20.0, name: str = NAME) -> Judgement:
    return judge(recorded(attempt, rate_hz), name, attempt.marks)


def test_a_good_attempt_is_met() -> None:
    judged = judge_of(idle_air())
    assert judged.judgement == "met"
    assert {line.judgement for line in judged.steps if not line.optional} == {"met"}
    assert len(judged.attempts) == 1
    assert "Sign that it took, seen" in judged.advice


@pytest.mark.parametrize("together", [True, False])
@pytest.mark.parametrize("rate_hz", [5.0, 10.0, 25.0])
def test_the_truth_lies_within_what_is_measured(rate_hz: float, together: bool) -> None:
    attempt = idle_air(off_s=12.2, first_s=3.03, wait_s=7.04, release_s=0.9, start_s=1.7)
    judged = judge(recorded(attempt, rate_hz, together=together), NAME, attempt.marks)
    truth = {"key_off": 12.2, "key_on": 3.03, "wait": 7.04, "let_go": 0.9, "start": 1.7}
    for step, seconds in truth.items():
        measured = line_of(judged, step).measured
        assert measured is not None
        assert measured.low - 1e-9 <= seconds <= measured.high + 1e-9, step
        assert measured.value == pytest.approx(seconds, abs=2.1 / rate_hz), step


@pytest.mark.parametrize(
    ("change", "step", "margin"),
    [
        ({"off_s": 8.0}, "key_off", -2.0),
        ({"first_s": 4.5}, "key_on", -1.0),
        ({"first_s": 1.5}, "key_on", -1.0),
        ({"period_s": 1.3}, "five_presses", -0.6),
        ({"wait_s": 5.5}, "wait", -1.0),
        ({"wait_s": 9.0}, "wait", -1.5),
        ({"release_s": 4.4}, "let_go", -1.4),
        ({"start_s": 5.0}, "start", -2.0),
    ],
)
def test_a_miss_names_its_step_and_by_how_much(
    change: dict[str, float], step: str, margin: float
) -> None:
    judged = judge_of(idle_air(**change))  # type: ignore[arg-type]
    assert judged.judgement == "missed"
    missed = [line for line in judged.steps if line.judgement == "missed"]
    assert [line.step for line in missed] == [step]
    assert missed[0].margin == pytest.approx(margin, abs=0.1)
    assert judged.repeat == "repeat"
    named = find_procedure("P4").step(step.partition(":")[0]).say
    assert re.search(rf"Missed: step \d+, {named} \(", judged.advice)
    assert "Pedal up, key off, wait 10 s." in judged.advice


@pytest.mark.parametrize("presses", [3, 4, 6, 7])
def test_a_wrong_count_is_missed_whatever_the_time(presses: int) -> None:
    line = line_of(judge_of(idle_air(presses=presses, period_s=0.6)), "five_presses")
    assert line.judgement == "missed"
    assert line.margin is None
    assert line.why == f"{presses} full presses seen; 5 wanted."


def test_close_to_an_edge_it_cannot_tell() -> None:
    judged = judge_of(idle_air(wait_s=7.48), 10.0)
    line = line_of(judged, "wait")
    assert line.judgement == judged.judgement == "cannot tell"
    assert line.measured is not None
    assert line.measured.low < 7.5 < line.measured.high


def test_let_go_at_the_first_blink_falls_into_the_neighbour() -> None:
    attempt = idle_air(steady_s=10.0, release_s=0.6)
    hold = attempt.presses[-1][0]
    judged = judge(recorded(attempt), NAME, {"lamp_blinks": hold + 10.0})
    assert judged.judgement == "missed"
    assert line_of(judged, "hold").judgement == "missed"
    assert '"Memory reset by pedal pattern", which has the same beginning' in judged.consequence
    assert "erases codes" in judged.consequence


def test_held_too_long_the_reset_falls_into_the_neighbour() -> None:
    attempt = idle_air()
    judged = judge_of(attempt, name="P1")
    assert judged.judgement == "missed"
    assert '"Idle air learning by pedal pattern"' in judged.consequence


def test_without_marks_the_hold_cannot_be_told_unless_its_length_does() -> None:
    judged = judge(recorded(idle_air()), NAME)
    assert judged.judgement == "cannot tell"
    assert 'mark "lamp_steady"' in line_of(judged, "hold").why
    short = judge(recorded(idle_air(steady_s=8.0)), NAME)
    assert line_of(short, "hold").judgement == "missed"
    assert "too short to have waited" in line_of(short, "hold").why


def test_the_lamp_is_read_where_the_car_reports_it() -> None:
    attempt = idle_air()
    hold = attempt.presses[-1][0]

    def lamp(time):  # type: ignore[no-untyped-def]
        blinking = (time >= hold + 10.0) & (time < hold + 20.0)
        lit = ((time - hold) % 1.0 < 0.5) & blinking | (time >= hold + 20.0)
        return lit * 2.0**31

    judged = judge(recorded(attempt, lamp=lamp), NAME)
    assert judged.judgement == "met"
    measured = line_of(judged, "hold").measured
    assert measured is not None
    assert measured.low <= 20.0 <= measured.high


def test_key_cycles_of_the_released_position() -> None:
    good = Attempt(on=((0.0, 1.0), (8.0, 11.0), (22.0, 25.0), (37.0, 45.0)))
    assert judge(recorded(good), "P2").judgement == "met"
    hurried = Attempt(on=((0.0, 1.0), (8.0, 11.0), (22.0, 25.0), (27.0, 45.0)))
    judged = judge(recorded(hurried), "P2")
    assert judged.judgement == "missed"
    assert line_of(judged, "key_off_2").margin == pytest.approx(-8.0, abs=0.1)
    assert "power came back too soon" in judged.consequence


def test_plate_heard_is_a_mark_and_not_heard_is_one_too() -> None:
    cycle = Attempt(on=((0.0, 1.0), (6.0, 9.0), (20.0, 25.0)))
    heard = judge(recorded(cycle), "P3", {"plate_moves": 11.0})
    assert heard.judgement == "met"
    unheard = judge(recorded(cycle), "P3", {"plate_moves": None})
    assert unheard.judgement == "missed"
    unsaid = judge(recorded(cycle), "P3")
    assert unsaid.judgement == "cannot tell"
    assert line_of(unsaid, "key_off: lasts").judgement == "met"


def test_a_parameter_shows_an_event() -> None:
    attempt = Attempt(on=((0.0, 400.0), (415.0, 420.0)), engine=((2.0, 400.0),))
    recording = recorded(attempt, 5.0)
    coolant = recording.series["engine_coolant_temperature"]
    warming = replace(coolant, value=20.0 + 0.2 * coolant.time_s)
    series = {**recording.series, coolant.name: warming}
    judged = judge(replace(recording, series=series), "P3b", {"plate_moves": 403.0})
    measured = line_of(judged, "warm_up").measured
    assert measured is not None
    # 65 degC is reached at 225 s; the engine ran from 2.6 s on.
    assert measured.value == pytest.approx(222.4, abs=0.4)
    assert line_of(judged, "warm_up").judgement == "met"
    assert judged.judgement == "met"


def test_taps_alone_can_be_judged() -> None:
    marks = {
        "key_on": [0.0, 15.0], "key_off": 3.5,
        "press": [18.0, 18.8, 19.6, 20.4, 21.2, 28.6],
        "release": [18.4, 19.2, 20.0, 20.8, 21.6, 49.5],
        "lamp_blinks": 38.6, "lamp_steady": 48.6, "engine_start": 51.0, "engine_stop": 80.0,
    }  # fmt: skip
    judged = judge(None, NAME, marks)
    assert judged.judgement == "met"
    line = line_of(judged, "wait")
    assert line.measured is not None
    # A tap is late by up to 0.3 s, so it is widened by that.
    assert line.measured.high - line.measured.low == pytest.approx(0.7, abs=0.01)


def test_skipped_and_replaced_steps_keep_their_reason() -> None:
    attempt = idle_air()
    judged = judge(recorded(attempt), NAME, {**attempt.marks, "rev": "the neighbours sleep"})
    assert judged.judgement == "met"
    assert line_of(judged, "rev").why == "Replaced by a short drive: the neighbours sleep."


@pytest.mark.parametrize(
    ("marks", "sentence"),
    [
        ({"lamp_blinkt": 3.0}, 'mark "lamp_blinkt" means nothing in idle-air-learning-by-pedal'),
        ({"lamp_blinks": -1.0}, 'mark "lamp_blinks": -1.0 is not a time in seconds'),
        ({"lamp_blinks": math.nan}, "is not a time in seconds"),
        ({"lamp_blinks": {"when": 3}}, 'write {"at": 45.9, "give": 0.2}'),
        ({"coolantt": True}, 'mark "coolantt" means nothing'),
        ({"lamp_blinkt": 3.0}, 'Did you mean "lamp_blinks"? Known events, actions and steps: '),
    ],
)
def test_marks_that_mean_nothing_are_refused(marks: dict[str, object], sentence: str) -> None:
    with pytest.raises(ProcedureError) as raised:
        judge(recorded(idle_air(), 5.0), NAME, marks)
    assert sentence in str(raised.value)


def test_a_procedure_of_the_user_s_own() -> None:
    own = procedure_from_text(
        'name = "mine"\ntitle = "Mine"\nsource = "My manual, 12-3"\n'
        '[[step]]\nname = "key_on"\nwho = "key"\ndo = "on"\nsay = "Key on"\n'
        "lasts_s = { least = 2, most = 4 }\n"
        '[[step]]\nname = "key_off"\nwho = "key"\ndo = "off"\nsay = "Key off"\n'
        "lasts_s = { least = 5 }\n"
    )
    cycle = Attempt(on=((0.0, 1.0), (6.0, 9.0), (16.0, 25.0)))
    assert judge(recorded(cycle), own).judgement == "met"
    assert find_procedure("P4").name == NAME


@pytest.mark.parametrize(("off_s", "idle"), [(0.4, "met"), (-0.2, "met"), (5.0, "cannot tell")])
def test_a_car_that_answers_on_for_a_moment_does_not_hide_the_tap_on_the_key(
    off_s: float, idle: str
) -> None:
    """The last sample comes after key off where the controller is slow to sleep."""
    running = Attempt(on=((0.0, 700.0),), engine=((3.0, 700.0),))
    marks = {"raised": 10.0, "fan_runs": 200.0, "fan_stops": 210.0, "idle": 215.0}
    judged = judge(recorded(running, 5.0), "P8", {**marks, "key_off": 700.0 - off_s})
    assert line_of(judged, "idle").judgement == idle
    unused = 'The mark "key_off" was not used: the recording holds the key.'
    assert (unused in judged.notes) == (idle != "met")


def test_a_tap_on_the_key_does_not_turn_it_on_twice() -> None:
    """A recorder that was there before the key came on knows when; a tap beside it is late."""
    attempt = idle_air()
    attempt = replace(attempt, on=attempt.on[1:])
    key_on = attempt.on[0][0]
    judged = judge(recorded(attempt), NAME, {**attempt.marks, "key_on": key_on + 0.1})
    assert judged.judgement == "met"
    # When it was turned off before, only the tap knows.
    judged = judge(recorded(attempt), NAME, {**attempt.marks, "key_off": 8.0})
    assert line_of(judged, "key_off").judgement == "missed"
    measured = line_of(judged, "key_off").measured
    assert measured is not None
    assert measured.value == pytest.approx(key_on - 8.0, abs=0.1)


def test_a_procedure_that_no_signal_shows_is_judged_by_marks_beside_a_recording() -> None:
    running = Attempt(on=((0.0, 200.0),), engine=((0.0, 200.0),))
    marks = {"cylinder_off": 80.0, "cylinder_on": 91.0}
    judged = judge(recorded(running, 5.0), "P14", marks)
    assert line_of(judged, "settle").judgement == "met"
    assert line_of(judged, "cylinder_off").judgement == "met"
    assert "cylinder_on" not in {line.step for line in judged.steps if "No attempt" in line.why}
    late = judge(recorded(running, 5.0), "P14", {**marks, "cylinder_on": 98.0})
    assert line_of(late, "cylinder_off").judgement == "missed"


def test_an_engine_that_did_not_catch_was_not_started() -> None:
    """The second turn of the key counts, and it came too late."""
    good = idle_air()
    start, end = good.engine[0]
    tried = replace(good, engine=((start, start + 0.5), (start + 4.0, end)))
    judged = judge_of(tried)
    line = line_of(judged, "start")
    assert line.judgement == judged.judgement == "missed"
    assert line.margin == pytest.approx(-3.0, abs=0.06)
    # In time for the second one, nothing is lost; the idle counts from then.
    soon = replace(good, engine=((start - 1.5, start - 1.0), (start, end)))
    judged = judge_of(soon)
    assert (judged.judgement, line_of(judged, "start").judgement) == ("met", "met")


def test_an_engine_started_before_the_pedal_was_let_go_is_told_as_that() -> None:
    good = idle_air()
    early = replace(good, engine=((good.presses[5][1] - 1.0, good.on[1][1]),))
    line = line_of(judge_of(early), "start")
    assert line.judgement == "missed"
    assert line.why == "It came 1.0 s before what it counts from."
