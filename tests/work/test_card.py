"""The job card: order, tallies, cautions where they belong, and nothing invented."""

from dataclasses import replace
from itertools import chain

import pytest

from bellmouth.car.description import Car, Known
from bellmouth.errors import ProcedureError
from bellmouth.finding.result import CauseProbability
from bellmouth.learning.plan import plan
from bellmouth.pages.card_words import Words
from bellmouth.recording.steady import stretches
from bellmouth.work import Before, WorkError, make_card
from bellmouth.work.card import UNSOURCED, Card, CardStep
from tests.example_finding import example_car, example_finding
from tests.finding.worked import meter_reads_low
from tests.work.together import AIR_WORKS, TOGETHER


def _car(**known: object) -> Car:
    return replace(Car(Known(2.0), "airflow", source="car.toml"), **known)  # type: ignore[arg-type]


def _names(card: Card) -> list[str]:
    return [step.name for stage in card.stages for step in stage.steps]


@pytest.mark.parametrize("works", TOGETHER, ids="+".join)
def test_every_card_is_in_order_and_proves_itself(works: tuple[str, ...]) -> None:
    card = make_card(_car(), None, works)
    names = _names(card)
    numbers = [step.number for stage in card.stages for step in stage.steps]
    assert numbers == list(range(1, len(names) + 1))
    assert names[0] == "manual"
    assert names.index("record_before") < names.index("first_leak_check")
    assert names.index("first_leak_check") < names.index("record_after")
    if "relearn" in works:
        assert names.index("first_leak_check") < names.index("procedures")
        assert names.index("procedures") < names.index("record_after")
    if set(works) - {"relearn"}:
        assert card.tally
        assert names.index("label") < names.index("reconnect") < names.index("first_start")


@pytest.mark.parametrize("works", TOGETHER, ids="+".join)
def test_each_table_stands_at_exactly_one_step(works: tuple[str, ...]) -> None:
    card = make_card(_car(), None, works)
    shown = [step.shows for stage in card.stages for step in stage.steps if step.shows]
    tables = {
        "before_after": card.readings,
        "materials": card.materials,
        "memories": card.memories,
        "tally": card.tally,
        "solvents": card.solvents,
        "tightening": card.tightening,
        "learning": card.learning,
    }
    assert sorted(shown) == sorted(set(shown))
    held = {name for name, rows in tables.items() if rows}
    # A relearning alone needs at most a power supply, and meter work no procedure.
    assert held - {"materials"} <= set(shown) <= held | {"learning"}


def test_the_order_in_which_works_are_named_does_not_matter() -> None:
    assert make_card(_car(), None, AIR_WORKS) == make_card(
        _car(), None, [*reversed(AIR_WORKS), AIR_WORKS[0]]
    )
    assert make_card(_car(), None, ["Clean plate"]).works == ("clean_plate",)


@pytest.mark.parametrize(
    ("step", "word"),
    [
        ("cool", "Hot"),
        ("wipe_plate", "Flammable"),
        ("wipe_plate", "snap shut"),
        ("spray_meter", "Flammable"),
        ("first_start", "exhaust gas"),
        ("record_before", "exhaust gas"),
        ("battery_off", "Restraint"),
        ("manual", "Hybrid"),
        ("manual", "licensed"),
        ("ready_to_learn", "engine stopped"),
        ("restart", "passenger reads"),
        ("find_leak", "cold"),
    ],
)
def test_cautions_stand_at_the_step_they_concern(step: str, word: str) -> None:
    steps = chain.from_iterable(stage.steps for stage in make_card(_car(), None, AIR_WORKS).stages)
    cautions = {one.name: " ".join(text.text for text in one.cautions) for one in steps}
    assert word in cautions[step]


def test_a_torque_is_only_ever_the_users_own() -> None:
    assert make_card(_car(), None, AIR_WORKS).torque == ""
    card = make_card(_car(), None, AIR_WORKS, torque=" 8  N m ", manual_section="11-20")
    assert (card.torque, card.manual_section) == ("8 N m", "11-20")


def test_every_time_without_a_source_says_so() -> None:
    steps = chain.from_iterable(stage.steps for stage in make_card(_car(), None, AIR_WORKS).stages)
    timers = [step.timer for step in steps if step.timer]
    assert len(timers) == 4
    assert [timer.source for timer in timers if timer.least] == [UNSOURCED]


def test_a_relearning_alone_touches_no_part() -> None:
    card = make_card(_car(), None, ["relearn"])
    assert (card.tally, card.solvents, card.tightening, card.memories) == ((), (), (), ())
    assert "label" not in _names(card)


def test_a_plate_is_cleaned_in_place_only_where_the_gasket_stays() -> None:
    assert "open_duct" in _names(make_card(_car(), None, ["clean_plate"]))
    both = _names(make_card(_car(), None, ["clean_plate", "renew_gasket"]))
    assert "throttle_off" in both
    assert "open_duct" not in both


@pytest.mark.parametrize(
    ("works", "work"),
    [
        (["clean_plate", "relearn"], ["throttle_cleaned"]),
        (["reseal", "relearn"], ["leak_mended"]),
        (["renew_gasket", "relearn"], ["throttle_unplugged"]),
        (["clean_plate", "reseal", "relearn"], ["throttle_cleaned", "leak_mended"]),
        (["relearn"], ["learned_stale"]),
    ],
)
def test_the_procedures_are_those_of_the_plan(works: list[str], work: list[str]) -> None:
    card = make_card(_car(), None, works)
    planned = [one.procedure for one in plan(work) if one.procedure.does != "test"]
    assert [row.name for row in card.learning] == [procedure.name for procedure in planned]


def test_a_lifted_battery_calls_for_procedures_of_its_own() -> None:
    names = [row.name for row in make_card(_car(), None, ["clean_meter"]).learning_after_battery]
    assert names
    assert names == [one.procedure.name for one in plan(["battery_disconnected"])]


def test_procedures_can_be_chosen_by_hand() -> None:
    card = make_card(_car(), None, ["relearn"], learning=["P8"])
    assert [row.catalogue for row in card.learning] == ["P8"]
    with pytest.raises(ProcedureError, match="No procedure is called"):
        make_card(_car(), None, ["relearn"], learning=["P99"])
    with pytest.raises(ProcedureError, match=r'^"Intake smoke test with pressure hold" is a test'):
        make_card(_car(), None, ["relearn"], learning=["P12"])


@pytest.mark.parametrize("bolts", [3, 4, 6])
def test_tightening_takes_each_bolt_once_and_crosses_over(bolts: int) -> None:
    (flange,) = make_card(_car(), None, ["renew_gasket"], bolts=bolts).tightening
    assert sorted(flange.order) == list(range(1, bolts + 1))
    if bolts % 2 == 0:
        for first, second in zip(flange.order[::2], flange.order[1::2], strict=True):
            assert abs(first - second) == bolts // 2


def test_without_a_count_every_flange_is_drawn() -> None:
    flanges = make_card(_car(), None, ["renew_gasket"]).tightening
    assert [flange.bolts for flange in flanges] == [3, 4, 6]


def test_an_identification_number_is_masked() -> None:
    card = make_card(_car(name="WDB12345678901234 blue"), None, ["relearn"])
    assert card.header.name == "WDB12345********* blue"


def test_two_banks_are_read_apart_and_a_pressure_metered_car_by_its_pressure() -> None:
    rows = make_card(_car(banks=2), None, ["relearn"]).readings
    assert [row.bank for row in rows if row.say.text == "total trim at idle"] == [1, 2]
    texts = {
        row.say.text for row in make_card(_car(metering="pressure"), None, AIR_WORKS[:1]).readings
    }
    assert "manifold pressure at idle" in texts
    assert "airflow at idle" not in texts


def test_what_was_proposed_says_so() -> None:
    assert make_card(example_car(), example_finding()).proposed
    assert not make_card(example_car(), example_finding(), ["relearn"]).proposed


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (
            {"works": ["clean_plat"]},
            'No work is called "clean_plat". Did you mean clean_plate?',
        ),
        (
            {"works": ["paint"]},
            'No work is called "paint". Works are clean_plate, clean_meter, reseal, renew_gasket, '
            "mend_fuel, "
            "relearn.",
        ),
        (
            {"works": []},
            "A job card needs a finding or at least one work. Give --finding or --recording, or "
            "--work clean_plate, clean_meter, reseal, renew_gasket, mend_fuel or relearn.",
        ),
        (
            {"works": ["renew_gasket"], "torque": "tight"},
            '--torque "tight" is not a number with its unit. Write it as the manual does, such as '
            '"8 N m".',
        ),
        (
            {"works": ["renew_gasket"], "torque": "8"},
            '--torque "8" is not a number with its unit. Write it as the manual does, such as '
            '"8 N m".',
        ),
        (
            {"works": ["renew_gasket"], "torque": " "},
            "--torque is empty. Write what the car's own manual says, or leave it out.",
        ),
        (
            {"works": ["relearn"], "manual_section": "x" * 49},
            "--manual-section is 49 characters long and the card has room for 48. Shorten it.",
        ),
        (
            {"works": ["renew_gasket"], "bolts": 5},
            "--bolts 5: no drawing for a flange of 5 bolts. Give 3, 4 or 6, or leave it out and "
            "follow the manual's own drawing.",
        ),
        (
            {"works": ["relearn"], "bolts": 4},
            "--bolts is for the throttle's flange, and this card leaves it on. Add the work "
            "renew_gasket, or leave the option out.",
        ),
        (
            {"works": ["reseal"], "learning": ["P4"]},
            "Learning procedures were given without the work relearn. Add relearn.",
        ),
    ],
)
def test_bad_input_is_one_clear_sentence(given: dict[str, object], sentence: str) -> None:
    with pytest.raises(WorkError) as error:
        make_card(_car(), None, **given)  # type: ignore[arg-type]
    assert str(error.value) == sentence


def test_a_meter_that_is_not_there_cannot_be_cleaned() -> None:
    with pytest.raises(WorkError, match=r"^car.toml: clean_meter needs an airflow meter, and"):
        make_card(_car(metering="pressure"), None, ["clean_meter"])


def _record(card: Card) -> CardStep:
    return next(one for stage in card.stages for one in stage.steps if one.name == "record_before")


@pytest.mark.parametrize(
    ("before", "text"),
    [
        (Before("blue.csv"), "The before is blue.csv, which this card was made from: keep it."),
        (Before("blue.csv", "held"), "blue.csv, which this card was made from, holds no raised"),
        (Before("blue.csv", "idle"), "blue.csv, which this card was made from, holds no warm idle"),
        (None, "The before is the recording that the finding was made from: keep it."),
        (Before("ABCDE6GH7JK123456.csv"), "The before is ABCDE6GH*********.csv, which"),
    ],
)
def test_the_recording_that_a_card_was_made_from_is_the_before(
    before: Before | None, text: str
) -> None:
    step = _record(make_card(_car(), example_finding(), ["clean_plate"], before=before))
    said = Words().say(step.say)
    assert said.startswith(text)
    # A new one is asked for only where that one will not do, or may be lost.
    suits = before is not None and not before.lacks
    assert ("60\u00a0s of idle" in said) != suits
    assert bool(step.cautions) != suits
    assert step.shows == "before_after"


def test_a_card_made_without_a_recording_asks_for_one() -> None:
    step = _record(make_card(_car(), None, ["clean_plate"]))
    assert Words().say(step.say).startswith("Record it as it is, warm, loads off: 60")


def test_whether_a_recording_will_do_as_the_before_is_read_from_it() -> None:
    whole = meter_reads_low("low.csv")
    assert Before.of(whole) == Before("low.csv")
    idle = next(one for one in stretches(whole) if one.kind == "idle")
    series = {
        name: replace(
            one, time_s=one.time_s[one.time_s < idle.end_s],
            value=one.value[one.time_s < idle.end_s],
        )
        for name, one in whole.series.items()
    }  # fmt: skip
    assert Before.of(replace(whole, series=series)) == Before("low.csv", "held")


def _fuel(causes: dict[str, float] | None) -> list[str]:
    finding = None
    if causes is not None:
        entries = tuple(CauseProbability(name, chance, {}) for name, chance in causes.items())
        finding = replace(example_finding(), causes=entries, present=causes)
    return _names(make_card(_car(), finding, ["mend_fuel"]))


def test_fuel_is_measured_before_anything_is_renewed_and_tight_before_the_start() -> None:
    names = _fuel(None)
    assert names.index("fuel_pressure") < names.index("fuel_told") < names.index("parts_ready")
    assert names.index("fuel_part") < names.index("battery_on") < names.index("fuel_tight")
    assert names.index("fuel_tight") < names.index("first_start")
    steps = {
        step.name: step for stage in make_card(_car(), None, ["mend_fuel"]).stages
        for step in stage.steps
    }  # fmt: skip
    for name in ("fuel_gauge", "fuel_volume", "fuel_part", "fuel_tight"):
        assert any("Petrol under pressure" in one.text for one in steps[name].cautions), name
    assert any("direct injection" in one.text for one in steps["fuel_gauge"].cautions)


def test_a_card_for_fuel_looks_where_the_finding_points() -> None:
    low = {"fuel_volume", "fuel_low_where", "fuel_low_injectors"}
    high = {"fuel_high_where", "fuel_high_purge", "fuel_high_injectors"}
    assert (low | high) <= set(_fuel(None))
    assert (low | high) <= set(_fuel({"leak": 0.9, "healthy": 0.1}))
    assert low <= set(_fuel({"fuel_low": 0.9, "healthy": 0.1}))
    assert not high & set(_fuel({"fuel_low": 0.9, "healthy": 0.1}))
    assert high <= set(_fuel({"fuel_high": 0.9, "healthy": 0.1}))
    assert not low & set(_fuel({"fuel_high": 0.9, "healthy": 0.1}))


@pytest.mark.parametrize("other", ["clean_plate", "clean_meter"])
def test_fuel_and_cleaning_are_two_cards(other: str) -> None:
    with pytest.raises(WorkError, match=f"^mend_fuel and {other} do not go on one card: nothing"):
        make_card(_car(), None, [other, "mend_fuel"])
