"""Who is who on CAN: identifiers of ISO 15765-4, 11 or 29 bits, and diagnostic addresses.

All identifiers here are quoted from memory of ISO 15765-4; the 29-bit pair of controller 42 is
printed in the Linux kernel's documentation (networking/iso15765-2).
"""

from typing import Literal

from bellmouth.errors import BellmouthError

__all__ = [
    "ENGINE",
    "TESTER",
    "Identifiers",
    "address_of",
    "functional_id",
    "physical_id",
    "response_id",
]

Identifiers = Literal[11, 29]

ENGINE = 0x10  # usual address of the engine's controller
TESTER = 0xF1  # our own

_FUNCTIONAL_11, _REQUEST_11, _RESPONSE_11 = 0x7DF, 0x7E0, 0x7E8
_MOST_11 = 8
_FUNCTIONAL_29 = 0x18DB33F1
_PHYSICAL_29 = 0x18DA0000


def functional_id(identifiers: Identifiers) -> int:
    """Identifier on which every controller is asked."""
    return _FUNCTIONAL_11 if identifiers == 11 else _FUNCTIONAL_29


def physical_id(address: int, identifiers: Identifiers) -> int:
    """Identifier on which one controller is asked; flow control goes there too.

    Raises
    ------
    BellmouthError
        If identifiers of that size leave no room for the address.
    """
    if identifiers == 11:
        return _REQUEST_11 + _place(address)
    return _PHYSICAL_29 | _byte(address) << 8 | TESTER


def response_id(address: int, identifiers: Identifiers) -> int:
    """Identifier on which one controller answers; raises as :func:`physical_id` does."""
    if identifiers == 11:
        return _RESPONSE_11 + _place(address)
    return _PHYSICAL_29 | TESTER << 8 | _byte(address)


def address_of(identifier: int, *, extended: bool) -> int | None:
    """Address of the controller that answers on an identifier; None where it is no answer.

    With 11 bits the first of the eight response identifiers counts as 0x10, the next as 0x11 and
    so on.
    """
    if extended:
        is_answer = identifier & 0x1FFFFF00 == _PHYSICAL_29 | TESTER << 8
        return identifier & 0xFF if is_answer else None
    place = identifier - _RESPONSE_11
    return ENGINE + place if 0 <= place < _MOST_11 else None


def _place(address: int) -> int:
    if not ENGINE <= address < ENGINE + _MOST_11:
        raise BellmouthError(
            f"Controller {address:02X} cannot be asked with 11-bit identifiers; they reach "
            f"{ENGINE:02X} to {ENGINE + _MOST_11 - 1:02X}."
        )
    return address - ENGINE


def _byte(address: int) -> int:
    if not 0 <= address <= 0xFF:
        raise BellmouthError(f"{address:X} is no controller's address; they are 00 to FF.")
    return address
