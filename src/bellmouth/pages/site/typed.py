"""Numbers as people type them into a form."""

import re

from babel.numbers import get_decimal_symbol

from bellmouth.errors import BellmouthError

__all__ = ["controller_of", "count_of", "number_of", "thousands_of"]

_MOST_ADDRESS = 0xFF
#: What may be thousands: 5,280 and 5.280. Three figures behind a nought are decimals.
_THOUSANDS = re.compile(r"\s*[+-]?[1-9]\d{0,2}([.,])\d{3}\s*")


def number_of(text: str, what: str, *, spread: bool = False) -> float:
    """A number, decimal comma included.

    Raises
    ------
    BellmouthError
        If it is none, with ``what`` it was to be; ``spread`` where a second one may follow.
    """
    try:
        return float(text.strip().replace(",", "."))
    except ValueError as error:
        if spread:
            raise BellmouthError(
                f'{what}: "{text}" is not a number. Write it as 60, or as 60 ± 1.'
            ) from error
        raise BellmouthError(f'{what}: "{text}" is not a number. Write it as 2.0.') from error


def thousands_of(text: str, language: str) -> tuple[float, ...]:
    """A number with its comma or point read as a mark of thousands, where it may be one: where the
    language has another for decimals."""
    found = _THOUSANDS.fullmatch(text)
    if found is None or found[1] == get_decimal_symbol(language):
        return ()
    return (float(text.replace(found[1], "")),)


def count_of(text: str, what: str) -> int | None:
    """A whole number over 0; None where nothing was written.

    Raises
    ------
    BellmouthError
        If it is none, with ``what`` it was to be.
    """
    told = text.strip()
    if not told:
        return None
    if not told.isdecimal() or int(told) < 1:
        raise BellmouthError(f'{what}: "{told}" is not a whole number over 0. Write it as 120.')
    return int(told)


def controller_of(text: str) -> int | None:
    """A controller's address as it is written, two hexadecimal digits; None where none was.

    Raises
    ------
    BellmouthError
        If it is no address.
    """
    if not text.strip():
        return None
    try:
        address = int(text, 16)
    except ValueError:
        address = -1
    if not 0 <= address <= _MOST_ADDRESS:
        raise BellmouthError(
            f'"{text.strip()}" is no address of a controller. Give two hexadecimal digits, such as '
            "10."
        )
    return address
