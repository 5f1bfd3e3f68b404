"""The judge: each step's time, margin and judgement; overall; what follows."""

import math
import re
from dataclasses import replace

import pytest

from bellmouth.errors import ProcedureError
from bellmouth.learning import find_procedure, judge
from bellmouth.learning.evidence import Moment
from bellmouth.learning.follow import Follower, Matched
from bellmouth.learning.judgement import Judgement, StepJudgement
from bellmouth.learning.procedure_reader import procedure_from_text
from tests.learning.made import Attempt, idle_air, recorded

NAME = "idle-air-learning-by-pedal"


def _line(judged: Judgement, step: str) -> StepJudgement:
    return next(line for line in judged.steps if line.step == step)


def _condition(judged: Judgement, name: str) -> str:
    return next(line.judgement for line in judged.conditions if line.condition == name)


def _judged(attempt: Attempt, rate_hz: float = 20.0, name: str = NAME) -> Judgement:
    return judge(recorded(attempt, rate_hz), name, attempt.marks)


def test_a_good_attempt_is_met() -> None:
    judged = _judged(idle_air())
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
        measured = _line(judged, step).measured
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
    judged = _judged(idle_air(**change))  # type: ignore[arg-type]
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
    line = _line(_judged(idle_air(presses=presses, period_s=0.6)), "five_presses")
    assert line.judgement == "missed"
    assert line.margin is None
    assert line.why == f"{presses} full presses seen; 5 wanted."


def test_a_shallow_press_does_not_count() -> None:
    judged = _judged(idle_air(depth=0.5))
    line = _line(judged, "five_presses")
    assert line.judgement == "missed"
    assert line.why == "4 full presses seen, 1 not to the floor; 5 wanted."
    assert "Press to the floor" in judged.advice


def test_close_to_an_edge_it_cannot_tell() -> None:
    judged = _judged(idle_air(wait_s=7.48), 10.0)
    line = _line(judged, "wait")
    assert line.judgement == judged.judgement == "cannot tell"
    assert line.measured is not None
    assert line.measured.low < 7.5 < line.measured.high


def test_samples_too_coarse_to_count_presses_cannot_tell() -> None:
    judged = _judged(idle_air(), 3.0)
    assert judged.judgement == "cannot tell"
    assert "sampled" in _line(judged, "five_presses").why


def test_a_press_in_the_wait_spoils_it() -> None:
    good = idle_air()
    at = good.presses[4][1] + 3.0
    presses = (*good.presses[:5], (at, at + 0.4, 1.0), good.presses[5])
    judged = _judged(replace(good, presses=presses))
    line = _line(judged, "wait")
    assert line.judgement == "missed"
    assert "belongs to no step" in line.why


@pytest.mark.parametrize("depth", [0.4, 0.72])
@pytest.mark.parametrize(
    ("step", "at_s"), [("key_on", -2.0), ("wait", 6.4), ("wait", 9.9)]
)  # s after the first press
def test_half_a_press_that_belongs_to_no_step_cannot_be_told(
    depth: float, step: str, at_s: float
) -> None:
    """Whether the car takes it for one nobody knows; where it lies does not change that."""
    good = idle_air()
    at = good.presses[0][0] + at_s
    judged = _judged(replace(good, presses=(*good.presses, (at, at + 0.4, depth))))
    line = _line(judged, step)
    assert (judged.judgement, line.judgement) == ("cannot tell", "cannot tell")
    assert "belongs to no step. Whether it was to the floor" in line.why
    full = _judged(replace(good, presses=(*good.presses, (at, at + 0.4, 1.0))))
    assert _line(full, step).judgement == "missed"


def test_half_a_press_that_does_not_matter_does_not() -> None:
    good = idle_air(first_s=4.5)
    at = good.presses[0][0] - 2.5
    # Key on was too long with the half press and without it.
    line = _line(_judged(replace(good, presses=(*good.presses, (at, at + 0.3, 0.4)))), "key_on")
    assert line.judgement == "missed"
    assert line.margin == pytest.approx(-1.0, abs=0.06)


def test_presses_that_fit_their_time_without_one_in_doubt_are_not_too_long() -> None:
    good = idle_air()
    at = good.presses[4][1] + 1.0
    judged = _judged(replace(good, presses=(*good.presses, (at, at + 0.4, 0.72))))
    line = _line(judged, "five_presses")
    assert line.judgement == "cannot tell"
    assert "5 presses to the floor are certain, 6 possible" in line.why


def test_the_pedal_in_the_idle_spoils_it() -> None:
    good = idle_air()
    at = good.engine[0][0] + 8.0
    judged = _judged(replace(good, presses=(*good.presses, (at, at + 0.3, 0.3))))
    line = _line(judged, "idle")
    assert line.judgement == "missed"
    assert line.margin == pytest.approx(-12.6, abs=0.2)


def test_a_light_touch_spoils_only_where_the_pedal_is_forbidden() -> None:
    good = idle_air()
    start = good.engine[0][0]
    idle = _judged(replace(good, presses=(*good.presses, (start + 8.0, start + 8.4, 0.08))))
    assert _line(idle, "idle").judgement == "missed"
    assert "touched" in _line(idle, "idle").why
    at = good.presses[4][1] + 3.0
    wait = _judged(replace(good, presses=(*good.presses, (at, at + 0.4, 0.08))))
    assert wait.judgement == "met"
    late = _judged(replace(good, presses=(*good.presses, (start + 23.0, start + 23.4, 0.08))))
    assert late.judgement == "met"


def test_let_go_at_the_first_blink_falls_into_the_neighbour() -> None:
    attempt = idle_air(steady_s=10.0, release_s=0.6)
    hold = attempt.presses[-1][0]
    judged = judge(recorded(attempt), NAME, {"lamp_blinks": hold + 10.0})
    assert judged.judgement == "missed"
    assert _line(judged, "hold").judgement == "missed"
    assert '"Memory reset by pedal pattern", which has the same beginning' in judged.consequence
    assert "erases codes" in judged.consequence


def test_held_too_long_the_reset_falls_into_the_neighbour() -> None:
    attempt = idle_air()
    judged = _judged(attempt, name="P1")
    assert judged.judgement == "missed"
    assert '"Idle air learning by pedal pattern"' in judged.consequence


def test_without_marks_the_hold_cannot_be_told_unless_its_length_does() -> None:
    judged = judge(recorded(idle_air()), NAME)
    assert judged.judgement == "cannot tell"
    assert 'mark "lamp_steady"' in _line(judged, "hold").why
    short = judge(recorded(idle_air(steady_s=8.0)), NAME)
    assert _line(short, "hold").judgement == "missed"
    assert "too short to have waited" in _line(short, "hold").why


def test_the_lamp_is_read_where_the_car_reports_it() -> None:
    attempt = idle_air()
    hold = attempt.presses[-1][0]

    def lamp(time):  # type: ignore[no-untyped-def]
        blinking = (time >= hold + 10.0) & (time < hold + 20.0)
        lit = ((time - hold) % 1.0 < 0.5) & blinking | (time >= hold + 20.0)
        return lit * 2.0**31

    judged = judge(recorded(attempt, lamp=lamp), NAME)
    assert judged.judgement == "met"
    measured = _line(judged, "hold").measured
    assert measured is not None
    assert measured.low <= 20.0 <= measured.high


def test_a_dip_of_the_supply_cancels_and_is_mended_first() -> None:
    good = idle_air()
    on = good.on[1][0]
    judged = _judged(replace(good, supply=((on + 9.0, on + 10.0, 11.2),)))
    assert judged.judgement == "missed"
    assert judged.repeat == "mend first"
    assert _condition(judged, "battery") == "missed"
    assert "11.2 V" in judged.consequence
    assert judged.advice.startswith("Mend that first")


def test_the_sag_of_the_starter_is_no_dip() -> None:
    judged = _judged(idle_air())
    assert _condition(judged, "battery") == _condition(judged, "charging") == "met"


_SUPPLIED = """
name = "run-between"
title = "Run between"
source = "Workshop manual, page 4"
[[throughout]]
name = "supply"
say = "Supply"
signal = "control_module_voltage"
unit = "V"
least = 12.4
engine = "stopped"
[[step]]
name = "key_on"
who = "key"
do = "on"
say = "Key on"
lasts_s = { about = 3, tolerance = 0.5 }
[[step]]
name = "start"
who = "engine"
do = "start"
say = "Start"
[[step]]
name = "idle"
who = "engine"
do = "idle"
say = "Idle"
lasts_s = { least = 10 }
[[step]]
name = "key_off"
who = "key"
do = "off"
say = "Key off"
lasts_s = { least = 10 }
[[step]]
name = "key_on_again"
who = "key"
do = "on"
say = "Key on"
lasts_s = { least = 5 }
[[step]]
name = "press"
who = "pedal"
do = "press"
say = "Press"
lasts_s = { least = 5 }
"""


def test_a_condition_of_the_engine_stopped_need_not_be_read_while_it_runs() -> None:
    procedure = procedure_from_text(_SUPPLIED)
    attempt = Attempt(
        on=((0.0, 4.0), (16.0, 36.0), (50.0, 70.0)),
        presses=((57.0, 64.0, 1.0),),
        engine=((19.0, 36.0),),
    )
    recording = recorded(attempt)
    judged = judge(recording, procedure)
    assert (judged.judgement, _condition(judged, "supply")) == ("met", "met")
    # Read for the first seconds only, whatever came then is not known to have stood.
    supply = recording.series["control_module_voltage"]
    cut = replace(supply, time_s=supply.time_s[:100], value=supply.value[:100])
    series = {**recording.series, supply.name: cut}
    judged = judge(replace(recording, series=series), procedure)
    assert (judged.judgement, _condition(judged, "supply")) == ("cannot tell", "cannot tell")


def test_the_sag_of_the_starter_is_no_dip_of_a_supply_that_always_must_stand() -> None:
    always = procedure_from_text(_SUPPLIED.replace('engine = "stopped"\n', ""))
    attempt = Attempt(
        on=((0.0, 4.0), (16.0, 36.0), (50.0, 70.0)),
        presses=((57.0, 64.0, 1.0),),
        engine=((19.0, 36.0),),
    )
    assert _condition(judge(recorded(attempt), always), "supply") == "met"
    dipped = replace(attempt, supply=((25.0, 25.5, 11.0),))
    assert _condition(judge(recorded(dipped), always), "supply") == "missed"


def test_rolling_cancels() -> None:
    good = idle_air()
    on = good.on[1][0]
    judged = _judged(replace(good, speed=((on + 5.0, on + 7.0, 2.0),)))
    assert _condition(judged, "stationary") == "missed"


def test_conditions_of_other_times_do_not_matter() -> None:
    good = idle_air()
    judged = _judged(replace(good, supply=((0.0, 3.0, 11.0),)))
    assert judged.judgement == "met"


def test_a_condition_that_is_not_recorded_is_told_and_may_be_confirmed() -> None:
    attempt = idle_air()
    recording = recorded(attempt, without=["vehicle_speed"])
    judged = judge(recording, NAME, attempt.marks)
    assert judged.judgement == "met"
    assert _condition(judged, "stationary") == "cannot tell"
    assert "The car does not move" in judged.advice
    moved = judge(recording, NAME, {**attempt.marks, "stationary": False})
    assert moved.judgement == "missed"


def test_key_cycles_of_the_released_position() -> None:
    good = Attempt(on=((0.0, 1.0), (8.0, 11.0), (22.0, 25.0), (37.0, 45.0)))
    assert judge(recorded(good), "P2").judgement == "met"
    hurried = Attempt(on=((0.0, 1.0), (8.0, 11.0), (22.0, 25.0), (27.0, 45.0)))
    judged = judge(recorded(hurried), "P2")
    assert judged.judgement == "missed"
    assert _line(judged, "key_off_2").margin == pytest.approx(-8.0, abs=0.1)
    assert "power came back too soon" in judged.consequence


def test_plate_heard_is_a_mark_and_not_heard_is_one_too() -> None:
    cycle = Attempt(on=((0.0, 1.0), (6.0, 9.0), (20.0, 25.0)))
    heard = judge(recorded(cycle), "P3", {"plate_moves": 11.0})
    assert heard.judgement == "met"
    unheard = judge(recorded(cycle), "P3", {"plate_moves": None})
    assert unheard.judgement == "missed"
    unsaid = judge(recorded(cycle), "P3")
    assert unsaid.judgement == "cannot tell"
    assert _line(unsaid, "key_off: lasts").judgement == "met"


def test_a_clock_that_stops_while_the_fan_runs() -> None:
    running = Attempt(on=((0.0, 700.0), (800.0, 810.0)), engine=((3.0, 700.0),))
    marks = {"raised": 10.0, "fan_runs": [200.0, 400.0], "fan_stops": [250.0, 450.0]}
    judged = judge(recorded(running, 5.0), "P8", {**marks, "idle": 250.0})
    line = _line(judged, "idle")
    assert line.measured is not None
    # 450 s from 250 to 700, less the 50 s that the fan ran.
    assert line.measured.value == pytest.approx(400.0, abs=0.5)
    assert line.judgement == "met"


@pytest.mark.parametrize(
    ("fan", "idled_s"),
    [
        # The start of the fan ends the step before; it still runs when the idle begins.
        ({"fan_runs": 200.0, "fan_stops": 260.0}, 690.0 - 260.0),
        # Told twice that it runs.
        ({"fan_runs": [200.0, 300.0, 305.0], "fan_stops": [205.0, 350.0]}, 480.0 - 50.0),
    ],
)
def test_a_clock_stands_while_the_fan_runs_whenever_that_began(
    fan: dict[str, object], idled_s: float
) -> None:
    running = Attempt(on=((0.0, 690.0), (800.0, 810.0)), engine=((3.0, 690.0),))
    judged = judge(recorded(running, 5.0), "P8", {"raised": 10.0, "idle": 210.0, **fan})
    measured = _line(judged, "idle").measured
    assert measured is not None
    assert measured.value == pytest.approx(idled_s, abs=0.5)


def test_a_fan_of_which_nobody_told_that_it_stopped_cannot_be_told() -> None:
    running = Attempt(on=((0.0, 700.0), (800.0, 810.0)), engine=((3.0, 700.0),))
    marks = {"raised": 10.0, "idle": 210.0, "fan_runs": 200.0}
    line = _line(judge(recorded(running, 5.0), "P8", marks), "idle")
    assert line.judgement == "cannot tell"
    assert line.why == 'Nobody marked when the cooling fan stops: "fan_stops".'


def test_a_parameter_shows_an_event() -> None:
    attempt = Attempt(on=((0.0, 400.0), (415.0, 420.0)), engine=((2.0, 400.0),))
    recording = recorded(attempt, 5.0)
    coolant = recording.series["engine_coolant_temperature"]
    warming = replace(coolant, value=20.0 + 0.2 * coolant.time_s)
    series = {**recording.series, coolant.name: warming}
    judged = judge(replace(recording, series=series), "P3b", {"plate_moves": 403.0})
    measured = _line(judged, "warm_up").measured
    assert measured is not None
    # 65 degC is reached at 225 s; the engine ran from 2.6 s on.
    assert measured.value == pytest.approx(222.4, abs=0.4)
    assert _line(judged, "warm_up").judgement == "met"
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
    line = _line(judged, "wait")
    assert line.measured is not None
    # A tap is late by up to 0.3 s, so it is widened by that.
    assert line.measured.high - line.measured.low == pytest.approx(0.7, abs=0.01)


def test_skipped_and_replaced_steps_keep_their_reason() -> None:
    attempt = idle_air()
    judged = judge(recorded(attempt), NAME, {**attempt.marks, "rev": "the neighbours sleep"})
    assert judged.judgement == "met"
    assert _line(judged, "rev").why == "Replaced by a short drive: the neighbours sleep."


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


_LAMP_FIRST = """
name = "presses-after-the-lamp"
title = "Presses after the lamp"
source = "Workshop manual, page 3"
[[step]]
name = "key_on"
who = "key"
do = "on"
say = "Key on"
until = { event = "lamp_off", timeout_s = 10 }
[[step]]
name = "presses"
who = "pedal"
do = "pump"
say = "Press twice"
times = 2
within_s = 5
"""


@pytest.mark.parametrize(
    ("lamp_s", "judgement"), [(18.0, "met"), (19.05, "cannot tell"), (21.0, "missed")]
)
def test_nothing_may_be_done_before_the_event_that_a_step_waits_for(
    lamp_s: float, judgement: str
) -> None:
    presses = ((19.0, 19.5, 1.0), (20.5, 21.0, 1.0))
    attempt = Attempt(on=((0.0, 4.0), (16.0, 30.0)), presses=presses)
    judged = judge(recorded(attempt), procedure_from_text(_LAMP_FIRST), {"lamp_off": lamp_s})
    assert (judged.judgement, _line(judged, "key_on").judgement) == (judgement, judgement)
    if judgement == "missed":
        assert _line(judged, "key_on").why == (
            "The next action came 2.0 s before the lamp goes out."
        )
        assert _line(judged, "key_on").margin == pytest.approx(-2.0, abs=0.06)


def test_a_hold_let_go_about_when_its_event_came_cannot_be_told() -> None:
    text = _LAMP_FIRST.partition("[[step]]")[0] + (
        '[[step]]\nname = "hold"\nwho = "pedal"\ndo = "press"\nsay = "Press and hold"\n'
        'until = { event = "lamp_steady", timeout_s = 30 }\n'
        '[[step]]\nname = "let_go"\nwho = "pedal"\ndo = "release"\nsay = "Let go"\n'
    )
    attempt = Attempt(on=((0.0, 60.0),), presses=((19.0, 39.0, 1.0),))
    for at_s, judgement in ((38.0, "met"), (39.2, "cannot tell"), (40.0, "missed")):
        judged = judge(recorded(attempt), procedure_from_text(text), {"lamp_steady": at_s})
        assert _line(judged, "hold").judgement == judgement, at_s


def test_marks_by_one_hand_keep_their_order() -> None:
    text = _LAMP_FIRST.replace('who = "pedal"\ndo = "pump"', 'who = "person"\ndo = "act"')
    text = text.replace("times = 2\nwithin_s = 5\n", "")
    attempt = Attempt(on=((0.0, 4.0), (16.0, 30.0)))
    marks = {"lamp_off": 20.0, "presses": 20.1}
    judged = judge(recorded(attempt), procedure_from_text(text), marks)
    assert _line(judged, "key_on").judgement == "met"


_TWICE = """
name = "two-rounds"
title = "Two rounds"
source = "Workshop manual, page 5"
[[step]]
name = "key_on"
who = "key"
do = "on"
say = "Key on"
lasts_s = { about = 3, tolerance = 0.5 }
[[step]]
name = "hold"
who = "pedal"
do = "press"
say = "Press and hold"
until = { event = "lamp_steady", timeout_s = 10 }
[[step]]
name = "let_go"
who = "pedal"
do = "release"
say = "Let go"
after = "lamp_steady"
after_s = { most = 3 }
[[step]]
name = "key_off"
who = "key"
do = "off"
say = "Key off"
lasts_s = { least = 10 }
[[repeat]]
first = "key_on"
last = "key_off"
times = 2
"""


def test_each_round_waits_for_its_own_event() -> None:
    procedure = procedure_from_text(_TWICE)
    attempt = Attempt(
        on=((0.0, 4.0), (16.0, 30.0), (45.0, 60.0), (75.0, 90.0)),
        presses=((19.0, 25.0, 1.0), (48.0, 54.0, 1.0)),
    )
    judged = judge(recorded(attempt), procedure, {"lamp_steady": [24.0, 53.0]})
    assert judged.judgement == "met"
    measured = _line(judged, "let_go_2").measured
    assert measured is not None
    assert measured.value == pytest.approx(1.0, abs=0.06)
    # Marked in the second round only, the first one's never came; it did not come 29 s late.
    judged = judge(recorded(attempt), procedure, {"lamp_steady": 53.0})
    assert _line(judged, "hold").why == (
        "It was never seen that the lamp stops blinking and stays on."
    )
    assert _line(judged, "hold_2").judgement == _line(judged, "let_go_2").judgement == "met"


@pytest.mark.parametrize(("off_s", "idle"), [(0.4, "met"), (-0.2, "met"), (5.0, "cannot tell")])
def test_a_car_that_answers_on_for_a_moment_does_not_hide_the_tap_on_the_key(
    off_s: float, idle: str
) -> None:
    """The last sample comes after key off where the controller is slow to sleep."""
    running = Attempt(on=((0.0, 700.0),), engine=((3.0, 700.0),))
    marks = {"raised": 10.0, "fan_runs": 200.0, "fan_stops": 210.0, "idle": 215.0}
    judged = judge(recorded(running, 5.0), "P8", {**marks, "key_off": 700.0 - off_s})
    assert _line(judged, "idle").judgement == idle
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
    assert _line(judged, "key_off").judgement == "missed"
    measured = _line(judged, "key_off").measured
    assert measured is not None
    assert measured.value == pytest.approx(key_on - 8.0, abs=0.1)


def test_a_procedure_that_no_signal_shows_is_judged_by_marks_beside_a_recording() -> None:
    running = Attempt(on=((0.0, 200.0),), engine=((0.0, 200.0),))
    marks = {"cylinder_off": 80.0, "cylinder_on": 91.0}
    judged = judge(recorded(running, 5.0), "P14", marks)
    assert _line(judged, "settle").judgement == "met"
    assert _line(judged, "cylinder_off").judgement == "met"
    assert "cylinder_on" not in {line.step for line in judged.steps if "No attempt" in line.why}
    late = judge(recorded(running, 5.0), "P14", {**marks, "cylinder_on": 98.0})
    assert _line(late, "cylinder_off").judgement == "missed"


def test_an_engine_that_did_not_catch_was_not_started() -> None:
    """The second turn of the key counts, and it came too late."""
    good = idle_air()
    start, end = good.engine[0]
    tried = replace(good, engine=((start, start + 0.5), (start + 4.0, end)))
    judged = _judged(tried)
    line = _line(judged, "start")
    assert line.judgement == judged.judgement == "missed"
    assert line.margin == pytest.approx(-3.0, abs=0.06)
    # In time for the second one, nothing is lost; the idle counts from then.
    soon = replace(good, engine=((start - 1.5, start - 1.0), (start, end)))
    judged = _judged(soon)
    assert (judged.judgement, _line(judged, "start").judgement) == ("met", "met")


def test_an_engine_started_before_the_pedal_was_let_go_is_told_as_that() -> None:
    good = idle_air()
    early = replace(good, engine=((good.presses[5][1] - 1.0, good.on[1][1]),))
    line = _line(_judged(early), "start")
    assert line.judgement == "missed"
    assert line.why == "It came 1.0 s before what it counts from."


def test_a_pedal_that_bounces_is_not_let_up_for_certain() -> None:
    """Nobody lets go of the floor and is back on it within a tenth of a second."""
    good = idle_air()
    begin, end, _ = good.presses[5]
    for gap in (begin + 0.1, 0.5 * (begin + end)):
        holds = ((begin, gap, 1.0), (gap + 0.05, end, 1.0))
        judged = _judged(replace(good, presses=(*good.presses[:5], *holds)))
        assert judged.judgement == "cannot tell"
        assert _line(judged, "wait").judgement == "met"
        assert "on the floor all the time" in _line(judged, "hold").why
    # Up for longer, it was let go.
    holds = ((begin, begin + 5.0, 1.0), (begin + 5.4, end, 1.0))
    assert _judged(replace(good, presses=(*good.presses[:5], *holds))).judgement == "missed"


def test_a_spike_of_the_pedal_is_no_press_for_certain() -> None:
    """To the floor and up again in a tenth of a second is no foot."""
    good = idle_air()
    at = good.presses[4][1] + 3.0
    judged = _judged(replace(good, presses=(*good.presses, (at, at + 0.05, 1.0))))
    assert (judged.judgement, _line(judged, "wait").judgement) == ("cannot tell", "cannot tell")


_OPTIONAL = """
name = "more-if-you-like"
title = "More if you like"
source = "Workshop manual, page 8"
[[step]]
name = "presses"
who = "pedal"
do = "pump"
say = "Press"
times = 3
within_s = 5
[[step]]
name = "wait"
who = "pedal"
do = "rest"
say = "Wait"
lasts_s = { least = 3, most = 5 }
[[step]]
name = "more"
who = "pedal"
do = "press"
say = "Press once more"
optional = true
[[step]]
name = "start"
who = "engine"
do = "start"
say = "Start the engine"
after_s = { most = 6 }
"""


@pytest.mark.parametrize(("start_s", "start", "wait"), [
    (27.0, "met", "missed"), (25.5, "met", "met"), (23.0, "met", "missed"),
])  # fmt: skip
def test_a_time_counts_from_the_last_step_that_was_not_left_out(
    start_s: float, start: str, wait: str
) -> None:
    procedure = procedure_from_text(_OPTIONAL)
    presses = tuple((19.0 + n, 19.5 + n, 1.0) for n in range(3))
    attempt = Attempt(on=((0.0, 60.0),), presses=presses, engine=((start_s, 60.0),))
    judged = judge(recorded(attempt), procedure)
    assert _line(judged, "start").judgement == start
    assert _line(judged, "wait").judgement == wait
    follower = Follower(procedure, ("pedal", "engine"))
    for begin, end, _ in presses:
        follower.saw("press", Moment(begin, begin))
        follower.saw("release", Moment(end, end))
    found = follower.saw("engine_start", Moment(start_s, start_s))
    assert isinstance(found, Matched)
    assert (found.lost is not None) == (wait == "missed")
