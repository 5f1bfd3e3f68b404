"""Events that a step waits for, clocks that stand, and what a time counts from."""

import pytest

from bellmouth.learning import judge
from bellmouth.learning.evidence import Moment
from bellmouth.learning.follow import Follower, Matched
from bellmouth.learning.procedure_reader import procedure_from_text
from tests.learning.made import Attempt, recorded
from tests.learning.test_judge import line_of


def test_a_clock_that_stops_while_the_fan_runs() -> None:
    running = Attempt(on=((0.0, 700.0), (800.0, 810.0)), engine=((3.0, 700.0),))
    marks = {"raised": 10.0, "fan_runs": [200.0, 400.0], "fan_stops": [250.0, 450.0]}
    judged = judge(recorded(running, 5.0), "P8", {**marks, "idle": 250.0})
    line = line_of(judged, "idle")
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
    measured = line_of(judged, "idle").measured
    assert measured is not None
    assert measured.value == pytest.approx(idled_s, abs=0.5)


def test_a_fan_of_which_nobody_told_that_it_stopped_cannot_be_told() -> None:
    running = Attempt(on=((0.0, 700.0), (800.0, 810.0)), engine=((3.0, 700.0),))
    marks = {"raised": 10.0, "idle": 210.0, "fan_runs": 200.0}
    line = line_of(judge(recorded(running, 5.0), "P8", marks), "idle")
    assert line.judgement == "cannot tell"
    assert line.why == 'Nobody marked when the cooling fan stops: "fan_stops".'


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
    assert (judged.judgement, line_of(judged, "key_on").judgement) == (judgement, judgement)
    if judgement == "missed":
        assert line_of(judged, "key_on").why == (
            "The next action came 2.0 s before the lamp goes out."
        )
        assert line_of(judged, "key_on").margin == pytest.approx(-2.0, abs=0.06)


def test_a_hold_let_go_about_when_its_event_came_cannot_be_told() -> None:
    text = _LAMP_FIRST.partition("[[step]]")[0] + (
        '[[step]]\nname = "hold"\nwho = "pedal"\ndo = "press"\nsay = "Press and hold"\n'
        'until = { event = "lamp_steady", timeout_s = 30 }\n'
        '[[step]]\nname = "let_go"\nwho = "pedal"\ndo = "release"\nsay = "Let go"\n'
    )
    attempt = Attempt(on=((0.0, 60.0),), presses=((19.0, 39.0, 1.0),))
    for at_s, judgement in ((38.0, "met"), (39.2, "cannot tell"), (40.0, "missed")):
        judged = judge(recorded(attempt), procedure_from_text(text), {"lamp_steady": at_s})
        assert line_of(judged, "hold").judgement == judgement, at_s


def test_marks_by_one_hand_keep_their_order() -> None:
    text = _LAMP_FIRST.replace('who = "pedal"\ndo = "pump"', 'who = "person"\ndo = "act"')
    text = text.replace("times = 2\nwithin_s = 5\n", "")
    attempt = Attempt(on=((0.0, 4.0), (16.0, 30.0)))
    marks = {"lamp_off": 20.0, "presses": 20.1}
    judged = judge(recorded(attempt), procedure_from_text(text), marks)
    assert line_of(judged, "key_on").judgement == "met"


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
    measured = line_of(judged, "let_go_2").measured
    assert measured is not None
    assert measured.value == pytest.approx(1.0, abs=0.06)
    # Marked in the second round only, the first one's never came; it did not come 29 s late.
    judged = judge(recorded(attempt), procedure, {"lamp_steady": 53.0})
    assert line_of(judged, "hold").why == (
        "It was never seen that the lamp stops blinking and stays on."
    )
    assert line_of(judged, "hold_2").judgement == line_of(judged, "let_go_2").judgement == "met"


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
    assert line_of(judged, "start").judgement == start
    assert line_of(judged, "wait").judgement == wait
    follower = Follower(procedure, ("pedal", "engine"))
    for begin, end, _ in presses:
        follower.saw("press", Moment(begin, begin))
        follower.saw("release", Moment(end, end))
    found = follower.saw("engine_start", Moment(start_s, start_s))
    assert isinstance(found, Matched)
    assert (found.lost is not None) == (wait == "missed")
