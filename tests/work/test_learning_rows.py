"""The times of a learning procedure on the card: what is done by them is met."""

import math

import pytest

from bellmouth.learning.packs import find_procedure, packs
from bellmouth.learning.plan import plan
from bellmouth.learning.procedure import Procedure
from bellmouth.work.learning_rows import called_for, learning_row, learning_texts

LEARNED = [one for one in packs() if one.does != "test"]


def test_idle_air_learning_stands_on_the_card_as_the_pack_has_it() -> None:
    row = learning_row("idle-air-learning-by-pedal")
    steps = [(step.kind, step.time_s) for step in row.steps]
    assert steps == [
        ("least", 10.0),  # key off
        ("about", 3.0),  # key on
        ("most", 5.0),  # five presses
        ("about", 7.0),  # wait
        ("until", 30.0),  # hold to the floor
        ("most", 3.0),  # let go
        ("most", 3.0),  # start
        ("least", 20.0),  # idle
        ("", 0.0),  # rev
    ]
    assert "lamp" in row.steps[4].event
    assert [step.event for step in row.steps if step.kind != "until"] == [""] * 8


@pytest.mark.parametrize("procedure", LEARNED, ids=lambda one: one.name)
def test_who_keeps_to_the_card_keeps_every_window(procedure: Procedure) -> None:
    for step, told in zip(procedure.steps, learning_row(procedure.name).steps, strict=True):
        windows = [one for one in (step.lasts_s, step.after_s) if one is not None]
        if told.kind == "until":
            assert step.until is not None
            assert told.time_s == step.until.timeout_s
        elif told.kind == "most" and math.isfinite(step.within_s):
            assert told.time_s == step.within_s
        elif windows:
            least, most = windows[0].least_s, windows[0].most_s
            assert least <= told.time_s <= most
            assert (told.kind == "least") == math.isinf(most)
            assert told.kind != "most" or (least <= 0.0 and told.time_s == most)
            assert told.kind != "least" or told.time_s == least
        else:
            assert told.kind == ""


def test_a_lifted_battery_calls_for_its_own_procedures_and_no_test() -> None:
    planned = [one.procedure for one in plan(["battery_disconnected"])]
    rows = called_for((), battery_off=True)
    assert [row.name for row in rows] == [one.name for one in planned if one.does != "test"]
    assert rows


def test_every_text_that_a_row_shows_is_among_those_of_the_packs() -> None:
    known = {text for _, text in learning_texts()}
    for procedure in LEARNED:
        row = learning_row(procedure.name)
        shown = {row.title, *row.signs, *(step.say for step in row.steps)}
        shown |= {step.event for step in row.steps if step.event}
        assert shown <= known
    tests = [one.title for one in packs() if one.does == "test"]
    assert tests
    assert not known.intersection(tests)
    assert find_procedure("P1").title in known
