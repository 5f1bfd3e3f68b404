import math

import pytest

from bellmouth.learning.cue_plan import COUNT_IN_S, cues_of
from bellmouth.learning.packs import find_procedure, packs
from bellmouth.learning.procedure import Procedure, Step, Until, Window
from bellmouth.learning.schedule import Leads, press_rhythm, stretches

P4 = find_procedure("P4")


def _procedure(*steps: Step) -> Procedure:
    return Procedure("made-up", "Made up", "a test", steps)


def test_times_add_up_from_action_to_action() -> None:
    first = stretches(P4)[0]
    assert [slot.begin_s for slot in first.slots] == pytest.approx([0, 12, 15, 19, 26])
    assert math.isinf(first.slots[-1].end_s)


def test_five_presses_inside_five_seconds_are_asked_for_in_four() -> None:
    beat, whole = press_rhythm(P4.step("five_presses"))
    edges = [edge for edge in stretches(P4)[0].edges if edge.step == "five_presses"]
    assert whole == pytest.approx(4.0)
    assert len(edges) == 10
    assert edges[-1].at_s - edges[0].at_s == pytest.approx(whole)
    assert edges[2].at_s - edges[0].at_s == pytest.approx(beat)
    assert [edge.last for edge in edges] == [False] * 9 + [True]


def test_an_event_that_must_come_divides_the_procedure() -> None:
    first, second = stretches(P4)
    assert first.waits is not None
    assert first.waits.event == second.anchor == "lamp_steady"
    assert second.waits is None


def test_an_event_inside_a_longer_time_divides_nothing() -> None:
    # The plate is heard within 10 s, and the key stays off for longer anyway.
    assert len(stretches(find_procedure("P3"))) == 1


def test_an_event_that_may_outlast_the_time_is_awaited() -> None:
    step = Step(
        "wait",
        "person",
        "wait",
        "Wait",
        lasts_s=Window(20, 60, 30),
        until=Until("idle_settles", 60),
    )
    procedure = _procedure(step, Step("off", "key", "off", "Key off"))
    assert [stretch.anchor for stretch in stretches(procedure)] == ["", "idle_settles"]


def test_an_answer_to_the_lamp_is_called_at_once() -> None:
    second = stretches(P4)[1]
    now = next(cue for cue in cues_of(P4, second, {}) if cue.kind == "now")
    assert second.edges[0].kind == "react"
    assert (now.text, now.at_s) == ("Let go", 0.0)


@pytest.mark.parametrize("procedure", packs(), ids=lambda one: one.name)
def test_every_pack_is_planned_in_order_and_inside_its_windows(procedure: Procedure) -> None:
    steps = []
    for stretch in stretches(procedure):
        steps += [slot.step.name for slot in stretch.slots]
        times = [edge.at_s for edge in stretch.edges]
        assert times == sorted(times)
        for slot in stretch.slots:
            window = slot.step.lasts_s
            if window is not None and math.isfinite(slot.end_s) and slot.step.do != "pump":
                assert window.margin_s(slot.end_s - slot.begin_s) >= 0.0
    assert steps == [step.name for step in procedure.steps]


def test_three_two_one_lead_into_each_action_that_has_room() -> None:
    cues = cues_of(P4, stretches(P4)[0], {})
    key_off = [
        (cue.text, cue.at_s) for cue in cues if cue.edge == 0 and cue.kind in ("lead", "now")
    ]
    assert key_off == [("three", -3.0), ("two", -2.0), ("one", -1.0), ("Key off", 0.0)]
    # Three seconds after the key there is no room for "three", which would be lost in it.
    presses = [cue.text for cue in cues if cue.edge == 2 and cue.kind == "lead"]
    assert presses == ["two", "one"]


def test_ticks_mark_each_second_between_actions() -> None:
    cues = cues_of(P4, stretches(P4)[0], {})
    beats = [cue.at_s for cue in cues if cue.edge == 1 and cue.kind in ("tick", "lead", "now")]
    assert beats == pytest.approx(list(range(1, 13)))


def test_the_count_in_comes_before_the_first_action() -> None:
    cues = cues_of(P4, stretches(P4)[0], {})
    assert cues[0].text == "Get ready"
    assert cues[0].at_s == -COUNT_IN_S


def test_a_lead_moves_the_call_and_not_the_plan() -> None:
    stretch = stretches(P4)[0]
    leads: Leads = {"press": 0.2, "release": 0.1}
    now = {cue.edge: cue.at_s for cue in cues_of(P4, stretch, leads) if cue.kind in ("now", "beat")}
    assert now[0] == pytest.approx(stretch.edges[0].at_s)
    assert now[2] == pytest.approx(stretch.edges[2].at_s - 0.2)
    # A rhythm moves as a whole, with its first press.
    assert now[3] == pytest.approx(stretch.edges[3].at_s - 0.2)


def test_tones_differ_for_press_release_and_wait() -> None:
    cues = [cue for cue in cues_of(P4, stretches(P4)[0], {}) if cue.kind in ("now", "beat")]
    assert {cue.tone for cue in cues} == {"press", "release", "wait"}


def test_there_is_silence_while_the_plate_is_listened_for() -> None:
    procedure = find_procedure("P3")
    cues = cues_of(procedure, stretches(procedure)[0], {})
    assert "Hush now, listen" in [cue.text for cue in cues]
    assert [cue for cue in cues if 5.0 < cue.at_s < 12.9 and cue.sounds] == []
    assert all(cue.sounds for cue in cues if cue.at_s < 3.0)


def test_quiet_silences_everything() -> None:
    assert not any(cue.sounds for cue in cues_of(P4, stretches(P4)[0], {}, quiet=True))


def test_hours_are_told_and_not_ticked() -> None:
    drive = find_procedure("P9")
    cues = cues_of(drive, stretches(drive)[0], {})
    assert len(cues) < 1200
    assert any(cue.text == "10 minutes left" for cue in cues)


def test_the_plan_moves_with_what_was_done() -> None:
    stretch = stretches(P4)[0]
    last = max(index for index, edge in enumerate(stretch.edges) if edge.step == "five_presses")
    moved = stretch.moved(last, stretch.edges[last].at_s + 0.3)
    assert moved.edges[last + 1].at_s - stretch.edges[last + 1].at_s == pytest.approx(0.3)
    assert moved.edges[:last] == stretch.edges[:last]
    waits = {slot.step.name: slot.begin_s for slot in moved.slots}
    assert waits["wait"] == pytest.approx(19.3)
    assert waits["five_presses"] == pytest.approx(15.0)
