"""Identification numbers: checked when they come in, masked when they go out."""

import re
from typing import Any

from bellmouth.errors import BookError

__all__ = ["checked", "mask", "mask_within", "masked_in"]

# A number that was masked when its car was exported may come in again.
_ALLOWED = re.compile(r"[A-Z0-9*][A-Z0-9 *-]{1,23}[A-Z0-9*]")
_VEHICLE_NUMBER = 17  # characters (ISO 3779, from memory)
_KIND = 8  # of them tell maker, model and engine, and not which car it is
_HIDDEN = "*"
# As it stands in a text: 17 characters without I, O and Q (ISO 3779, from memory).
_IDENTIFICATION = re.compile(r"(?<![0-9A-Z])[0-9A-HJ-NPR-Z]{17}(?![0-9A-Z])", re.IGNORECASE)


def checked(number: str) -> str:
    """An identification number or plate in capitals.

    Raises
    ------
    BookError
        If it holds anything but letters, digits, spaces and hyphens, or is too short or long.
    """
    tidy = " ".join(number.upper().split())
    if not _ALLOWED.fullmatch(tidy):
        raise BookError(
            f"{number!r} is no identification number: 3 to 25 letters, digits, spaces or hyphens."
        )
    return tidy


def mask(number: str) -> str:
    """The number with what tells one car from another hidden; once masked, it stays as it is."""
    if _HIDDEN in number:
        return number
    if len(number) == _VEHICLE_NUMBER and number.isalnum():
        return number[:_KIND] + _HIDDEN * (_VEHICLE_NUMBER - _KIND)
    return _HIDDEN * len(number)


def mask_within(text: str) -> str:
    """A text with every vehicle identification number in it masked."""
    return _IDENTIFICATION.sub(lambda found: mask(found[0]), text)


def _standing(number: str) -> str:
    plain = re.escape(number)
    if len(number) == _VEHICLE_NUMBER:
        return plain
    return rf"(?<![^\W_]){plain}(?![^\W_])"


def masked_in(value: Any, numbers: set[str]) -> Any:
    """Plain data with each of the numbers masked wherever it stands, keys included.

    A short one, as of a plate, where it stands by itself: three signs of it are in any hash.
    """
    if isinstance(value, str):
        for number in numbers:
            value = re.sub(_standing(number), mask(number), value, flags=re.IGNORECASE)
        return value
    if isinstance(value, dict):
        return {masked_in(key, numbers): masked_in(item, numbers) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [masked_in(item, numbers) for item in value]
    return value
