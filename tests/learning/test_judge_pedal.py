"""The pedal as a judge reads it: presses that count, half presses, and what no foot does."""

from dataclasses import replace

import pytest

from bellmouth.learning.judge import judge
from tests.learning.made import idle_air, recorded
from tests.learning.test_judge import judge_of, line_of


def test_a_shallow_press_does_not_count() -> None:
    judged = judge_of(idle_air(depth=0.5))
    line = line_of(judged, "five_presses")
    assert line.judgement == "missed"
    assert line.why == "4 full presses seen, 1 not to the floor; 5 wanted."
    assert "Press to the floor" in judged.advice


def test_samples_too_coarse_to_count_presses_cannot_tell() -> None:
    judged = judge_of(idle_air(), 3.0)
    assert judged.judgement == "cannot tell"
    assert "sampled" in line_of(judged, "five_presses").why


def test_a_press_in_the_wait_spoils_it() -> None:
    good = idle_air()
    at = good.presses[4][1] + 3.0
    presses = (*good.presses[:5], (at, at + 0.4, 1.0), good.presses[5])
    judged = judge_of(replace(good, presses=presses))
    line = line_of(judged, "wait")
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
    judged = judge_of(replace(good, presses=(*good.presses, (at, at + 0.4, depth))))
    line = line_of(judged, step)
    assert (judged.judgement, line.judgement) == ("cannot tell", "cannot tell")
    assert "belongs to no step. Whether it was to the floor" in line.why
    full = judge_of(replace(good, presses=(*good.presses, (at, at + 0.4, 1.0))))
    assert line_of(full, step).judgement == "missed"


def test_half_a_press_that_does_not_matter_does_not() -> None:
    good = idle_air(first_s=4.5)
    at = good.presses[0][0] - 2.5
    # Key on was too long with the half press and without it.
    line = line_of(judge_of(replace(good, presses=(*good.presses, (at, at + 0.3, 0.4)))), "key_on")
    assert line.judgement == "missed"
    assert line.margin == pytest.approx(-1.0, abs=0.06)


def test_presses_that_fit_their_time_without_one_in_doubt_are_not_too_long() -> None:
    good = idle_air()
    at = good.presses[4][1] + 1.0
    judged = judge_of(replace(good, presses=(*good.presses, (at, at + 0.4, 0.72))))
    line = line_of(judged, "five_presses")
    assert line.judgement == "cannot tell"
    assert "5 presses to the floor are certain, 6 possible" in line.why


def test_the_pedal_in_the_idle_spoils_it() -> None:
    good = idle_air()
    at = good.engine[0][0] + 8.0
    judged = judge_of(replace(good, presses=(*good.presses, (at, at + 0.3, 0.3))))
    line = line_of(judged, "idle")
    assert line.judgement == "missed"
    assert line.margin == pytest.approx(-12.6, abs=0.2)


def test_a_light_touch_spoils_only_where_the_pedal_is_forbidden() -> None:
    good = idle_air()
    start = good.engine[0][0]
    idle = judge_of(replace(good, presses=(*good.presses, (start + 8.0, start + 8.4, 0.08))))
    assert line_of(idle, "idle").judgement == "missed"
    assert "touched" in line_of(idle, "idle").why
    at = good.presses[4][1] + 3.0
    wait = judge_of(replace(good, presses=(*good.presses, (at, at + 0.4, 0.08))))
    assert wait.judgement == "met"
    late = judge_of(replace(good, presses=(*good.presses, (start + 23.0, start + 23.4, 0.08))))
    assert late.judgement == "met"


def test_a_pedal_that_bounces_is_not_let_up_for_certain() -> None:
    """Nobody lets go of the floor and is back on it within a tenth of a second."""
    good = idle_air()
    begin, end, _ = good.presses[5]
    for gap in (begin + 0.1, 0.5 * (begin + end)):
        holds = ((begin, gap, 1.0), (gap + 0.05, end, 1.0))
        judged = judge_of(replace(good, presses=(*good.presses[:5], *holds)))
        assert judged.judgement == "cannot tell"
        assert line_of(judged, "wait").judgement == "met"
        assert "on the floor all the time" in line_of(judged, "hold").why
    # Up for longer, it was let go.
    holds = ((begin, begin + 5.0, 1.0), (begin + 5.4, end, 1.0))
    assert judge_of(replace(good, presses=(*good.presses[:5], *holds))).judgement == "missed"


def test_a_spike_of_the_pedal_is_no_press_for_certain() -> None:
    """To the floor and up again in a tenth of a second is no foot."""
    good = idle_air()
    at = good.presses[4][1] + 3.0
    judged = judge_of(replace(good, presses=(*good.presses, (at, at + 0.05, 1.0))))
    assert (judged.judgement, line_of(judged, "wait").judgement) == ("cannot tell", "cannot tell")


@pytest.mark.parametrize("depth", [0.62, 0.7, 0.78])
def test_a_foot_that_never_goes_all_the_way_down_is_not_taken_for_the_floor(depth: float) -> None:
    """The practice car takes a press from four fifths of the whole travel, and so none of these."""
    attempt = idle_air()
    short = tuple((begin, end, depth) for begin, end, _ in attempt.presses)
    recording = recorded(replace(attempt, presses=short), 10.0)
    found = judge(recording, "P4", attempt.marks)
    assert found.judgement == "cannot tell"
    assert any('mark "to_the_floor": true' in note for note in found.notes)
    assert judge(recording, "P4", {**attempt.marks, "to_the_floor": True}).judgement == "met"
    assert judge(recording, "P4", {**attempt.marks, "to_the_floor": False}).judgement != "met"


def test_what_counts_as_the_floor_is_said_where_presses_to_it_are_asked_for() -> None:
    attempt = idle_air()
    recording = recorded(attempt, 10.0)
    met = judge(recording, "P4", attempt.marks)
    assert met.judgement == "met"
    assert met.notes == (
        "The deepest press in this recording, 80 % (at rest 15 %), counts as the floor. If that "
        "foot never went all the way, the car may have taken none of the presses.",
    )
    assert judge(recording, "P4", {**attempt.marks, "to_the_floor": True}).notes == ()
    assert not any("floor" in note for note in judge(recording, "running-idle-after-warm-up").notes)


@pytest.mark.parametrize("rate_hz", [0.9, 1.0, 1.3])
def test_presses_of_which_no_sample_could_show_any_are_not_missed(rate_hz: float) -> None:
    attempt = idle_air()
    judged = judge(recorded(attempt, rate_hz), "P4", attempt.marks)
    assert judged.judgement == "cannot tell"
    assert "may have come and gone" in line_of(judged, "five_presses").why
    assert line_of(judged, "wait").judgement == "cannot tell"


def test_presses_that_samples_would_have_shown_are_missed() -> None:
    attempt = idle_air()
    held = replace(attempt, presses=attempt.presses[5:])
    judged = judge(recorded(held, 10.0), "P4", attempt.marks)
    assert line_of(judged, "five_presses").judgement == "missed"
