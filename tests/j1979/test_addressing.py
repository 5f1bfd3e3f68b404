"""Identifiers and addresses: what goes out on one is understood when it comes back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.errors import BellmouthError
from bellmouth.j1979.addressing import address_of, functional_id, physical_id, response_id


@given(st.integers(0x10, 0x17))
def test_eight_controllers_fit_into_eleven_bits(address: int) -> None:
    assert address_of(response_id(address, 11), extended=False) == address
    assert response_id(address, 11) - physical_id(address, 11) == 8


@given(st.integers(0x00, 0xFF))
def test_every_controller_fits_into_twenty_nine_bits(address: int) -> None:
    assert address_of(response_id(address, 29), extended=True) == address
    assert physical_id(address, 29) < 1 << 29


@pytest.mark.parametrize("identifier", [0x7DF, 0x7E0, 0x7E7, 0x7F0, 0x000, 0x18DAF110])
def test_other_identifiers_are_no_answers_in_eleven_bits(identifier: int) -> None:
    assert address_of(identifier, extended=False) is None


@pytest.mark.parametrize("identifier", [0x18DB33F1, 0x18DA10F1, 0x7E8, 0x18DAF2F1])
def test_other_identifiers_are_no_answers_in_twenty_nine_bits(identifier: int) -> None:
    assert address_of(identifier, extended=True) is None


def test_an_address_without_room_is_refused() -> None:
    with pytest.raises(BellmouthError) as caught:
        physical_id(0x18, 11)
    assert str(caught.value) == (
        "Controller 18 cannot be asked with 11-bit identifiers; they reach 10 to 17."
    )
    with pytest.raises(BellmouthError, match="no controller's address"):
        response_id(0x100, 29)


def test_everybody_is_asked_on_one_identifier() -> None:
    assert (functional_id(11), functional_id(29)) == (0x7DF, 0x18DB33F1)
