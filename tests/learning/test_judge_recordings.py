"""The judge and what a recording lacks or holds: signals, attempts, ends, clocks."""

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from bellmouth import read_recording
from bellmouth.errors import ProcedureError
from bellmouth.learning import judge
from bellmouth.learning.judgement import Judgement, StepJudgement
from bellmouth.practice.polling import write_csv
from tests.learning.made import Attempt, idle_air, joined, recorded

NAME = "idle-air-learning-by-pedal"


def _line(judged: Judgement, step: str) -> StepJudgement:
    return next(line for line in judged.steps if line.step == step)


def _condition(judged: Judgement, name: str) -> str:
    return next(line.judgement for line in judged.conditions if line.condition == name)


def _judged(attempt: Attempt, rate_hz: float = 20.0, name: str = NAME) -> Judgement:
    return judge(recorded(attempt, rate_hz), name, attempt.marks)


@pytest.mark.parametrize(
    ("missing", "steps", "why"),
    [
        ("accelerator_pedal_position_d", ("five_presses", "hold"), "does not hold the pedal"),
        ("engine_speed", ("start", "idle"), "does not hold engine_speed"),
    ],
)
def test_without_its_signal_a_step_cannot_be_told(
    missing: str, steps: tuple[str, ...], why: str
) -> None:
    attempt = idle_air()
    judged = judge(recorded(attempt, without=[missing]), NAME, attempt.marks)
    assert judged.judgement == "cannot tell"
    for step in steps:
        assert _line(judged, step).judgement == "cannot tell"
    assert why in _line(judged, steps[0]).why


def test_the_throttle_stands_for_the_pedal_poorly() -> None:
    attempt = idle_air()
    recording = recorded(attempt)
    series = dict(recording.series)
    series["throttle_position"] = replace(
        series.pop("accelerator_pedal_position_d"), name="throttle_position"
    )
    judged = judge(replace(recording, series=series), NAME, attempt.marks)
    assert any("follows the pedal poorly" in note for note in judged.notes)


def test_two_attempts_the_last_is_judged_and_both_are_told() -> None:
    bad = idle_air(wait_s=4.0)
    good = idle_air().later(bad.on[-1][1] + 12.0)
    both = joined(bad, good)
    judged = judge(recorded(both), NAME, both.marks)
    assert judged.judgement == "met"
    assert [(one.judgement, one.missed[:1]) for one in judged.attempts] == [
        ("missed", ("wait",)),
        ("met", ()),
    ]
    assert judged.notes[0].startswith("2 attempts found; the last one is judged. They began at ")
    # From the key turned off to the twenty seconds of idle that are asked for; the engine counts
    # as running 0.6 s after the starter.
    spans = [at for one in judged.attempts for at in (one.begins_s, one.ends_s)]
    truth = [at for one in (bad, good) for at in (one.on[0][1], one.engine[0][0] + 20.6)]
    assert spans == pytest.approx(truth, abs=0.1)


def test_no_attempt_is_said() -> None:
    driven = Attempt(on=((0.0, 60.0),), engine=((3.0, 60.0),))
    judged = judge(recorded(driven), NAME)
    assert judged.judgement == "cannot tell"
    assert judged.attempts == ()
    assert "No attempt at" in judged.advice
    assert "presses of the pedal: 0, engine starts: 1." in judged.advice


def test_an_attempt_given_up_is_missed() -> None:
    good = idle_air()
    on = good.on[1][0]
    stopped = Attempt(
        on=(good.on[0], (on, on + 12.0), (on + 20.0, on + 25.0)), presses=good.presses[:5]
    )
    judged = judge(recorded(stopped), NAME)
    assert judged.judgement == "missed"
    assert _line(judged, "five_presses").judgement == "met"
    assert _line(judged, "hold").judgement == "missed"


def test_a_recording_that_ends_early_cannot_tell() -> None:
    judged = _judged(idle_air(idle_s=12.0))
    line = _line(judged, "idle")
    assert line.judgement == judged.judgement == "cannot tell"
    assert line.why == "The recording ends before it was over."


@pytest.mark.parametrize(
    ("longer_s", "judgement", "why"),
    [
        (1.0, "cannot tell", "The recording ends before it."),
        (40.0, "missed", "Not done: start the engine."),
    ],
)
def test_a_step_that_the_recording_does_not_reach_is_not_missed(
    longer_s: float, judgement: str, why: str
) -> None:
    good = idle_air()
    end = good.presses[-1][1] + longer_s
    stopped = replace(good, on=(good.on[0], (good.on[1][0], end)), engine=())
    line = _line(_judged(stopped), "start")
    assert (line.judgement, line.why) == (judgement, why)


def test_an_idle_in_which_the_pedal_was_not_sampled_once_cannot_tell() -> None:
    """What forbids the pedal is not met where nothing would have shown it."""
    attempt = idle_air()
    recording = recorded(attempt)
    pedal = recording.series["accelerator_pedal_position_d"]
    kept = pedal.time_s < attempt.engine[0][0] + 0.3
    cut = replace(pedal, time_s=pedal.time_s[kept], value=pedal.value[kept])
    judged = judge(
        replace(recording, series={**recording.series, pedal.name: cut}), NAME, attempt.marks
    )
    line = _line(judged, "idle")
    assert line.judgement == "cannot tell"
    assert line.why.startswith("The pedal was not sampled for 24.")


def test_a_start_that_came_too_late_is_missed_whatever_the_pedal_did_meanwhile() -> None:
    attempt = idle_air(start_s=9.0)
    recording = recorded(attempt)
    pedal = recording.series["accelerator_pedal_position_d"]
    kept = pedal.time_s < attempt.presses[-1][1] + 1.0
    cut = replace(pedal, time_s=pedal.time_s[kept], value=pedal.value[kept])
    series = {**recording.series, pedal.name: cut}
    line = _line(judge(replace(recording, series=series), NAME, attempt.marks), "start")
    assert line.judgement == "missed"
    assert line.margin == pytest.approx(3.0 - 9.0, abs=0.7)


def test_a_recording_that_begins_late_cannot_tell() -> None:
    attempt = idle_air()
    recording = recorded(replace(attempt, on=attempt.on[1:]))
    first = min(series.time_s[0] for series in recording.series.values())
    cut = {
        name: replace(series, time_s=series.time_s - first)
        for name, series in recording.series.items()
    }
    marks = {name: float(str(at)) - first for name, at in attempt.marks.items()}
    judged = judge(replace(recording, series=cut), NAME, marks)
    assert judged.judgement == "cannot tell"
    assert _line(judged, "key_off").why == "It would lie before the recording begins."
    assert _line(judged, "wait").judgement == "met"


def test_the_key_may_be_tapped_where_the_recording_does_not_reach() -> None:
    attempt = idle_air()
    on = attempt.on[1][0]
    recording = recorded(replace(attempt, on=attempt.on[1:]), begins_s=0.0)
    first = min(series.time_s[0] for series in recording.series.values())
    cut = {
        name: replace(series, time_s=series.time_s - first)
        for name, series in recording.series.items()
    }
    # A clock that counts from noon: nothing can be said of before.
    recording = replace(recording, series=cut, begins_s=43_200.0)
    marks: dict[str, object] = {
        name: 43_200.0 + float(str(at)) - first for name, at in attempt.marks.items()
    }
    assert judge(recording, NAME, marks).judgement == "cannot tell"
    marks["key_on"] = {"at": 43_200.0 + on - first, "give": 0.1}
    marks["key_off"] = 43_200.0 + on - first - 11.5
    judged = judge(recording, NAME, marks)
    assert judged.judgement == "met"
    marks["press"] = 43_210.0
    assert 'The mark "press" was not used' in judge(recording, NAME, marks).notes[0]


def test_marks_are_on_the_file_s_own_clock() -> None:
    attempt = idle_air()
    judged = judge(recorded(attempt, begins_s=3.0), NAME, attempt.marks)
    assert judged.judgement == "met"
    assert judged.attempts[0].begins_s == pytest.approx(4.0, abs=0.2)


def test_key_off_is_seen_in_the_supply_where_the_recorder_goes_on() -> None:
    attempt = idle_air()
    key_on = attempt.on[1][0]
    whole = replace(attempt, on=((0.0, attempt.on[1][1]),), supply=((4.0, key_on, 0.1),))
    judged = judge(recorded(whole), NAME, attempt.marks)
    line = _line(judged, "key_off")
    assert line.judgement == "met"
    assert line.measured is not None
    assert line.measured.value == pytest.approx(11.5, abs=0.1)


def test_samples_lost_while_the_engine_runs_are_not_key_off() -> None:
    attempt = idle_air()
    start, end = attempt.engine[0]
    torn = replace(
        attempt, on=(attempt.on[0], (attempt.on[1][0], start + 9.0), (start + 12.0, end))
    )
    recording = recorded(torn)
    judged = judge(recording, NAME, attempt.marks)
    assert any("samples lost, not key off" in note for note in judged.notes)
    assert _line(judged, "idle").judgement == "cannot tell"


def test_a_jump_of_the_clock_in_a_hold_cannot_be_told() -> None:
    attempt = idle_air()
    hold = attempt.presses[-1][0]
    recording = recorded(attempt)
    jumped = {
        name: replace(
            series, time_s=np.where(series.time_s > hold + 5.0, series.time_s + 60.0, series.time_s)
        )
        for name, series in recording.series.items()
    }
    judged = judge(replace(recording, series=jumped), NAME)
    assert any("while the pedal was held" in note for note in judged.notes)
    assert _line(judged, "hold").judgement == "cannot tell"


def test_a_clock_that_began_again_proves_no_time_with_the_key_off() -> None:
    attempt = idle_air()
    recording = recorded(attempt, 10.0)
    on = attempt.on[1][0]
    moved = {
        name: replace(
            series,
            time_s=np.where(series.time_s < 5.0, series.time_s, series.time_s - on + 63.937),
        )
        for name, series in recording.series.items()
    }
    last = max(float(series.time_s[series.time_s < 5.0][-1]) for series in moved.values())
    first = min(float(series.time_s[series.time_s > 5.0][0]) for series in moved.values())
    moved = {
        name: replace(
            series,
            time_s=np.where(
                series.time_s < 5.0, series.time_s, series.time_s - first + last + 60.0
            ),
        )
        for name, series in moved.items()
    }
    note = "The clock began again at 0 s; what follows is placed 60 s after the part before it."
    judged = judge(replace(recording, series=moved, notes=(note,)), NAME)
    assert _line(judged, "key_off").judgement == "cannot tell"
    assert _line(judge(replace(recording, series=moved), NAME), "key_off").judgement == "met"


def test_taps_say_nothing_of_the_time_after_the_last_unless_somebody_watched_on() -> None:
    marks: dict[str, object] = {
        "key_on": [0.0, 15.0], "key_off": 3.5,
        "press": [18.0, 18.8, 19.6, 20.4, 21.2, 28.6],
        "release": [18.4, 19.2, 20.0, 20.8, 21.6, 49.5],
        "lamp_blinks": 38.6, "lamp_steady": 48.6, "engine_start": 51.0,
    }  # fmt: skip
    assert _line(judge(None, NAME, marks), "idle").judgement == "cannot tell"
    short = judge(None, NAME, {**marks, "watched_until": 60.0})
    assert _line(short, "idle").judgement == "cannot tell"
    watched = judge(None, NAME, {**marks, "watched_until": 80.0})
    assert _line(watched, "idle").judgement == watched.judgement == "met"


@pytest.mark.parametrize("until", ["noon", -1.0, None, True, [80.0]])
def test_until_when_somebody_watched_is_a_time(until: object) -> None:
    with pytest.raises(ProcedureError, match=r'mark "watched_until": .* is not a time in seconds'):
        judge(None, NAME, {"key_on": 0.0, "watched_until": until})


def test_watching_on_makes_no_more_of_a_recording_that_ends_early() -> None:
    attempt = idle_air(idle_s=12.0)
    marks = {**attempt.marks, "watched_until": 900.0}
    assert _line(judge(recorded(attempt), NAME, marks), "idle").judgement == "cannot tell"


def test_questions_that_nobody_answered_make_key_on_less_sure() -> None:
    """A poller that waits 0.2 s for each answer first hears of key on so much later."""
    attempt = idle_air()
    sure = recorded(attempt)
    unsure = replace(sure, notes=("61 requests were not answered.",))
    plain, wide = (
        _line(judge(one, NAME, attempt.marks), "key_on").measured for one in (sure, unsure)
    )
    assert plain is not None
    assert wide is not None
    assert wide.high == pytest.approx(plain.high + 0.2, abs=1e-6)
    assert wide.low == pytest.approx(plain.low, abs=1e-6)


def test_a_clock_that_began_again_in_a_hold_decides_nothing(tmp_path: Path) -> None:
    """A restarted recorder: the reader sets the parts 60 s apart, which is nobody's measurement."""
    attempt = idle_air()
    write_csv(recorded(attempt), tmp_path / "whole.csv")
    head, *rows = (tmp_path / "whole.csv").read_text("utf-8").splitlines()
    cells = [row.split(",") for row in rows]
    again = next(n for n, row in enumerate(cells) if float(row[0]) > attempt.presses[-1][0] + 5.0)
    begin_s = float(cells[again][0])
    for row in cells[again:]:
        row[0] = f"{float(row[0]) - begin_s:.4f}"
    text = "\n".join([head, *(",".join(row) for row in cells)])
    (tmp_path / "torn.csv").write_text(text + "\n", "utf-8")
    judged = judge(read_recording(tmp_path / "torn.csv"), NAME, attempt.marks)
    assert judged.judgement == "cannot tell"
    assert "clock began again" in _line(judged, "let_go").why
    assert _line(judged, "wait").judgement == "met"
    assert any("clock began again" in note for note in judged.notes)


def test_driving_about_is_no_attempt() -> None:
    """The demonstration's recording: no pedal, and a throttle that moved a little."""
    demo = Path(str(files("bellmouth") / "data" / "demo" / "recording.csv"))
    judged = judge(read_recording(demo), NAME)
    assert judged.judgement == "cannot tell"
    assert "was found in this recording" in judged.advice


def test_a_clock_that_leaps_ahead_makes_no_late_release() -> None:
    """Nobody knows when the pedal came up where an hour is not on record."""
    made = idle_air()
    recording, leap_s = recorded(made), 3600.0
    at_s = float(made.marks["lamp_steady"]) + 0.3  # type: ignore[arg-type]
    series = {
        name: replace(one, time_s=one.time_s + leap_s * (one.time_s > at_s))
        for name, one in recording.series.items()
    }
    judged = judge(replace(recording, series=series), NAME, made.marks)
    line = _line(judged, "let_go")
    assert (line.judgement, judged.judgement) == ("cannot tell", "cannot tell")
    assert "in which it may have been let up" in line.why


def test_marks_of_events_alone_are_no_attempt_and_say_what_to_mark() -> None:
    judged = judge(None, NAME, {"lamp_blinks": 40.0, "lamp_steady": 50.0})
    assert judged.judgement == "cannot tell"
    assert "was found in the marks, and there is no recording." in judged.advice
    assert "key_on, key_off, press, release" in judged.advice
