"""The procedures that come with Bellmouth: fourteen of them, unsourced and saying so."""

import math

import pytest

from bellmouth.errors import ProcedureError
from bellmouth.learning.packs import find_procedure, packs, refuse_unchecked
from bellmouth.learning.plan import plan
from bellmouth.learning.procedure import UNSOURCED, Procedure


def _id(procedure: Procedure) -> str:
    return procedure.name


def test_the_fourteen_are_there() -> None:
    assert {f"P{number}" for number in range(1, 15)} <= {one.catalogue for one in packs()}


@pytest.mark.parametrize("one", packs(), ids=_id)
def test_each_is_marked_cautioned_and_says_how_it_shows(one: Procedure) -> None:
    assert one.source == UNSOURCED
    assert one.file == f"{one.name}.toml"
    assert one.purpose
    assert one.cautions
    assert one.signs
    assert any(condition.when == "before" for condition in one.conditions)
    assert all(find_procedure(name) for name in one.requires)


@pytest.mark.parametrize("one", packs(), ids=_id)
def test_a_full_press_is_made_with_the_engine_stopped(one: Procedure) -> None:
    pumped = any(step.do in ("pump", "press") for step in one.steps)
    running = any(step.who == "engine" and step.do == "start" for step in one.steps)
    if pumped:
        assert any("engine stopped" in caution for caution in one.cautions)
        first = next(index for index, step in enumerate(one.steps) if step.do in ("pump", "press"))
        starts = [index for index, step in enumerate(one.steps) if step.do == "start"]
        assert not running or all(first < start for start in starts)


@pytest.mark.parametrize("one", packs(), ids=_id)
def test_running_engines_come_with_a_caution(one: Procedure) -> None:
    if any(step.who == "engine" and step.do == "idle" for step in one.steps):
        told = " ".join(one.cautions).lower()
        assert any(word in told for word in ("air", "belt", "catalyst", "road"))


def test_trade_numbers_of_the_idle_air_learning() -> None:
    """Common practice, no source: 3 s, five inside 5 s, 7 s, within 3 s, within 3 s, 20 s."""
    one = find_procedure("P4")
    key_on, presses, wait = (one.step(name) for name in ("key_on", "five_presses", "wait"))
    assert key_on.lasts_s is not None
    assert key_on.lasts_s.about_s == 3.0
    assert (presses.times, presses.within_s) == ((5, 5), 5.0)
    assert wait.lasts_s is not None
    assert wait.lasts_s.about_s == 7.0
    for name in ("let_go", "start"):
        window = one.step(name).after_s
        assert window is not None
        assert window.most_s == 3.0
    idle = one.step("idle").lasts_s
    assert idle is not None
    assert (idle.least_s, idle.most_s) == (20.0, math.inf)


@pytest.mark.parametrize(
    "name", ["P4", "p4", "idle-air-learning-by-pedal", "Idle air learning by pedal"]
)
def test_a_procedure_is_found_by_number_or_name(name: str) -> None:
    assert find_procedure(name).catalogue == "P4"


def test_a_wrong_name_answers_with_the_nearest() -> None:
    with pytest.raises(
        ProcedureError, match=r'"idle-air-lerning".*Did you mean idle-air-learning-by-pedal'
    ):
        find_procedure("idle-air-lerning")


def test_off_until_the_manual_was_checked() -> None:
    one = find_procedure("P2")
    with pytest.raises(
        ProcedureError, match="common practice, no source, and off until you confirm"
    ):
        refuse_unchecked(one, manual_checked=False)
    refuse_unchecked(one, manual_checked=True)


@pytest.mark.parametrize(
    "one", [one for one in packs() if one.does not in ("test", "drive")], ids=_id
)
def test_what_every_learning_asks_for_first(one: Procedure) -> None:
    """Common practice, no source: standing, no code that blocks it, a battery that holds."""
    told = " ".join(condition.say for condition in one.conditions).lower()
    assert "p or n, park brake on" in told
    assert "code" in told
    volts = [
        condition for condition in one.conditions if condition.signal == "control_module_voltage"
    ]
    assert any(condition.engine == "stopped" for condition in volts)
    if any(step.do == "idle" for step in one.steps) and one.does == "idle_air":
        assert any(condition.engine == "running" for condition in volts)


def test_a_leak_is_looked_for_before_anything_is_learned() -> None:
    order = [one.procedure.name for one in plan(["throttle_unplugged", "leak_suspected"])]
    learned = order.index("throttle-closed-position")
    assert order.index("smoke-test-hold") < learned
    assert order.index("enrichment-leak-check") < learned


@pytest.mark.parametrize(
    ("name", "first"),
    [("P11", "Gas away"), ("P12", "Shut the supply"), ("P14", "Pedal up, key off, then plug")],
)
def test_where_more_than_the_engine_is_at_work_the_safe_state_says_so(
    name: str, first: str
) -> None:
    """A supply that goes on, gas, an injector that is unplugged: key off alone is not safe."""
    assert find_procedure(name).safe_state.startswith(first)
