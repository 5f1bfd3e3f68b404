"""Which works follow from a finding, and when not to clean."""

import json
from collections.abc import Mapping
from dataclasses import replace

import pytest

from bellmouth.car.description import Car, Known, Metering
from bellmouth.errors import FindingError
from bellmouth.finding.causes import CAUSES, pairs
from bellmouth.finding.result import CauseProbability, Finding, Size
from bellmouth.pages.card_view import card_page
from bellmouth.pages.card_words import Words
from bellmouth.pages.document import finding_document, to_json
from bellmouth.work import WORKS, make_card
from bellmouth.work.finding_file import finding_in
from bellmouth.work.proposal import found_causes, objections, propose
from bellmouth.work.unsettled import unsettled
from tests.example_finding import example_finding


def _car(metering: Metering = "airflow") -> Car:
    return Car(Known(2.0), metering)


def _finding(causes: Mapping[str, float]) -> Finding:
    present: dict[str, float] = {}
    for name, weight in causes.items():
        for single in name.split("+"):
            if single not in ("healthy", "unexplained"):
                present[single] = present.get(single, 0.0) + weight
    listed = tuple(
        CauseProbability(name, weight, {})
        for name, weight in sorted(causes.items(), key=lambda item: -item[1])
    )
    return replace(example_finding(), causes=listed, present=present)


@pytest.mark.parametrize(
    ("causes", "works"),
    [
        ({"deposit": 0.8, "healthy": 0.2}, ("clean_plate", "renew_gasket", "relearn")),
        ({"meter_low": 0.9, "healthy": 0.1}, ("clean_meter",)),
        ({"meter_high": 0.9, "healthy": 0.1}, ("clean_meter",)),
        ({"leak": 0.9, "healthy": 0.1}, ("reseal", "relearn")),
        ({"learned_stale": 0.9, "healthy": 0.1}, ("relearn",)),
        ({"leak+meter_low": 0.9, "leak": 0.1}, ("clean_meter", "reseal", "relearn")),
        ({"fuel_low": 0.9, "healthy": 0.1}, ("mend_fuel",)),
        ({"fuel_high": 0.9, "healthy": 0.1}, ("mend_fuel",)),
        ({"healthy": 1.0}, ()),
        ({"unexplained": 1.0}, ()),
        ({"pressure_low": 0.9, "healthy": 0.1}, ()),
        # Two entries that share a cause: it is there whichever of them holds.
        (
            {"leak+deposit": 0.4, "leak": 0.35, "healthy": 0.25},
            ("clean_plate", "reseal", "renew_gasket", "relearn"),
        ),
        # The likeliest entry leads, and beside it a cause that is there more likely than not.
        (
            {"meter_low": 0.36, "leak": 0.34, "leak+deposit": 0.3},
            ("clean_meter", "reseal", "relearn"),
        ),
    ],
)
def test_works_follow_from_the_leading_causes(
    causes: dict[str, float], works: tuple[str, ...]
) -> None:
    assert propose(_car(), _finding(causes)).works == works


def test_where_nothing_is_likelier_than_not_the_check_comes_first() -> None:
    open_ = _finding({"leak": 0.34, "learned_stale": 0.33, "healthy": 0.33})
    card = make_card(_car(), open_)
    assert card.works == ("reseal", "relearn")
    assert card.unsettled is not None
    assert (card.unsettled.leads, card.unsettled.probability) == ("leak", 0.34)
    assert card.unsettled.check == open_.next_checks[0]


def test_what_is_not_settled_is_not_called_healthy() -> None:
    card = make_card(_car(), _finding({"healthy": 0.4, "leak": 0.3, "deposit": 0.3}))
    assert card.unsettled is not None
    assert card.hand_over == ()
    settled = make_card(_car(), _finding({"healthy": 0.6, "leak": 0.4}))
    assert settled.unsettled is None
    assert settled.hand_over != ()


def test_a_cause_that_pairs_share_is_settled() -> None:
    assert unsettled(_finding({"leak": 0.3, "leak+deposit": 0.3, "healthy": 0.4})) is None
    assert unsettled(None) is None


def test_what_a_check_costs_may_be_unknown() -> None:
    open_ = _finding({"leak": 0.34, "learned_stale": 0.33, "healthy": 0.33})
    told = json.loads(to_json(finding_document(open_)))
    told["next_checks"][0]["minutes"] = None
    read = finding_in(told, "f.json")
    shown = card_page(make_card(_car(), read), Words()).settle_first
    assert shown[0] == "Likeliest is leak, with 34\u00a0% only."
    assert shown[1].startswith("Before any work: ")
    assert "(" not in shown[1]
    assert card_page(make_card(_car(), open_), Words()).settle_first[1].count("\u00a0min)") == 1


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("smoke", "a check in next_checks is not told in words"),
        ({"check": "", "minutes": 1}, "a check in next_checks has no name"),
        ({"check": "smoke_test", "how": 3}, "is not told in words"),
        ({"check": "smoke_test", "minutes": -1}, "minutes of"),
        ({"check": "smoke_test", "minutes": True}, "minutes of"),
    ],
)
def test_checks_of_a_file_that_are_none_are_refused(row: object, said: str) -> None:
    told = json.loads(to_json(finding_document(_finding({"healthy": 1.0}))))
    with pytest.raises(FindingError, match=said):
        finding_in({**told, "next_checks": [row]}, "f.json")


@pytest.mark.parametrize("fuel", ["fuel_low", "fuel_high"])
@pytest.mark.parametrize("other", ["deposit", "meter_low", "meter_high", "leak"])
def test_nothing_is_cleaned_while_fuel_leads(fuel: str, other: str) -> None:
    proposal = propose(_car(), _finding({f"{other}+{fuel}": 0.9, "healthy": 0.1}))
    assert not {"clean_plate", "clean_meter", "renew_gasket"}.intersection(proposal.works)
    assert any(text.text.startswith("Fuel leads: do not clean.") for text in proposal.hand_over)
    # A leak may be closed all the same.
    assert ("reseal" in proposal.works) == (other == "leak")


def test_work_chosen_against_the_finding_keeps_the_warning() -> None:
    card = make_card(_car(), _finding({"fuel_low": 0.9, "healthy": 0.1}), ["clean_plate"])
    assert card.works == ("clean_plate",)
    assert card.hand_over[0].text.startswith("Fuel leads: do not clean.")


@pytest.mark.parametrize("cause", ["meter_low", "meter_high"])
def test_a_pressure_metered_car_has_no_meter_to_clean(cause: str) -> None:
    proposal = propose(_car("pressure"), _finding({cause: 0.9, "healthy": 0.1}))
    assert proposal.works == ()
    assert "pressure sensor" in proposal.hand_over[0].text


@pytest.mark.parametrize("metering", ["airflow", "pressure"])
@pytest.mark.parametrize("cause", ["healthy", "unexplained", *CAUSES])
def test_every_cause_leads_to_work_or_to_somebody(cause: str, metering: Metering) -> None:
    proposal = propose(_car(metering), _finding({cause: 1.0}))
    assert proposal.works or proposal.hand_over
    assert set(proposal.works) <= set(WORKS)


def test_every_pair_of_causes_makes_a_card() -> None:
    for pair in pairs(tuple(CAUSES)):
        card = make_card(_car(), _finding({"+".join(pair): 0.7, "healthy": 0.3}))
        assert card.works or card.hand_over


@pytest.mark.parametrize(
    ("works", "causes", "said"),
    [
        (["clean_plate"], {"deposit": 1.0}, "Cleaned and not learned"),
        (["clean_plate", "relearn"], {"deposit": 1.0}, "Never while a misfire"),
        (["relearn"], {"leak": 0.6, "deposit": 0.4}, "Learning with a leak fails"),
        (["clean_meter"], {"meter_low": 0.7, "leak": 0.3}, "A leak looks like a meter"),
        (["renew_gasket"], {"leak": 1.0}, "The throttle body is unplugged"),
    ],
)
def test_what_speaks_against_the_work_is_said(
    works: list[str], causes: dict[str, float], said: str
) -> None:
    texts = [text.text for text in objections(_finding(causes), works)]
    assert any(text.startswith(said) for text in texts)


def test_nothing_speaks_against_resealing_a_leak_before_learning() -> None:
    assert objections(_finding({"leak": 1.0}), ["reseal", "relearn"]) == ()


def test_causes_that_hardly_count_are_left_out() -> None:
    found = found_causes(_finding({"leak": 0.9, "meter_low": 0.1}))
    assert [(one.cause, one.probability) for one in found] == [("leak", 0.9)]


def test_a_pair_is_told_by_its_parts_and_no_fault_beside_them() -> None:
    found = found_causes(_finding({"leak+deposit": 0.6, "healthy": 0.4}))
    assert {one.cause: one.probability for one in found} == {
        "leak": 0.6, "deposit": 0.6, "healthy": 0.4,
    }  # fmt: skip


def test_a_size_is_that_of_the_likeliest_entry_that_has_it() -> None:
    small, large = Size(1.1, 0.9, 1.4, "mm"), Size(2.6, 2.2, 3.1, "mm")
    listed = (
        CauseProbability("meter_low", 0.4, {"meter_low": Size(0.9, 0.85, 0.95, "ratio")}),
        CauseProbability("leak+deposit", 0.35, {"leak": small}),
        CauseProbability("leak", 0.25, {"leak": large}),
    )
    present = {"meter_low": 0.4, "leak": 0.6, "deposit": 0.35}
    found = found_causes(replace(example_finding(), causes=listed, present=present))
    sizes = {one.cause: one.size for one in found}
    assert sizes == {"leak": small, "meter_low": Size(0.9, 0.85, 0.95, "ratio"), "deposit": None}
