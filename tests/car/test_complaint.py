"""What an owner says, in whatever words."""

import pytest

from bellmouth.car import COMPLAINTS, parse_complaint
from bellmouth.car.complaint import _names
from bellmouth.errors import CarError


@pytest.mark.parametrize("complaint", COMPLAINTS)
def test_a_complaint_is_its_own_name(complaint: str) -> None:
    assert parse_complaint(complaint) == complaint
    assert parse_complaint(f"  {complaint.upper().replace(' ', '_')} ") == complaint


@pytest.mark.parametrize(
    ("typed", "complaint"),
    [
        ("rough", "rough idle"),
        ("low", "low idle"),
        ("high", "high idle"),
        ("hunting", "hunting idle"),
        ("surging", "hunting idle"),
        ("stalling", "stalls"),
        ("sticking", "sticking plate"),
        ("lamp", "lamp or lean code"),
        ("lean code", "lamp or lean code"),
        ("cleaned", "after cleaning"),
        ("battery", "after a battery change"),
        ("no complaint", "none"),
    ],
)
def test_short_and_everyday_forms_are_understood(typed: str, complaint: str) -> None:
    assert parse_complaint(typed) == complaint


def test_every_form_leads_to_a_complaint() -> None:
    assert set(_names().values()) == set(COMPLAINTS)


def test_an_unknown_complaint_is_refused_with_the_list() -> None:
    with pytest.raises(CarError) as caught:
        parse_complaint("squeaks")
    assert str(caught.value) == (
        'complaint "squeaks" is not known. Use one of unknown, none, rough idle, low idle, '
        "high idle, hunting idle, stalls, sticking plate, lamp or lean code, after cleaning, after "
        "a battery change."
    )
