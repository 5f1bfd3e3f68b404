"""Numbers as people type them into a form."""

from bellmouth.errors import BellmouthError

__all__ = ["controller_of", "count_of", "number_of"]

_MOST_ADDRESS = 0xFF


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
