"""Which car a recording is of, as its controller said it; no more than tells one from another.

A vehicle identification number leads to its owner, and recordings are passed on. So a mark of it is
kept instead: one car in some four thousand has the same, which is enough to notice that two
recordings are of two cars, and too little to know whose they are.
"""

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Self

__all__ = ["OfCar", "vehicle_mark"]

_KEY = "bellmouth-car"
_OPENS = '{"' + _KEY + '":'
_VEHICLE_NUMBER = 17  # characters (ISO 3779, from memory)
_MARK_DIGITS = 3
_MOST, _LONGEST = 16, 64  # calibrations, and characters of one, that are believed


@dataclass(frozen=True)
class OfCar:
    """What the recorded controller said of itself (service 09); empty is unknown.

    Attributes
    ----------
    vehicle
        Mark of the vehicle identification number (`vehicle_mark`).
    calibrations, verifications
        Which software the controller has, and the numbers that stand for it as it is.
    """

    vehicle: str = ""
    calibrations: tuple[str, ...] = ()
    verifications: tuple[str, ...] = ()

    def text(self) -> str:
        """The same as one piece of plain text, for a file's metadata; empty where all is unknown.

        It is told from what stands around it by how it begins.
        """
        if self == OfCar():
            return ""
        return json.dumps({_KEY: vars(self)}, ensure_ascii=True, separators=(",", ":"))

    @classmethod
    def found_in(cls, text: str) -> Self:
        """What a file's metadata tell, whatever stands around it."""
        at = text.find(_OPENS)
        if at < 0:
            return cls()
        try:
            said = json.JSONDecoder().raw_decode(text, at)[0][_KEY]
            lists = (_lines(said[name]) for name in ("calibrations", "verifications"))
            return cls(_line(said["vehicle"]), *lists)
        except (ValueError, LookupError, TypeError, RecursionError):
            return cls()  # damaged, or somebody else's


def _line(value: Any) -> str:
    if not isinstance(value, str) or len(value) > _LONGEST or not value.isprintable():
        raise TypeError(type(value))
    return value


def _lines(values: Iterable[Any]) -> tuple[str, ...]:
    return tuple(map(_line, list(values)[:_MOST]))


def vehicle_mark(number: str | None) -> str:
    """The mark of a vehicle identification number; empty where it is none (a controller that was
    never told its number says zeros)."""
    plain = "".join((number or "").split()).upper()
    if len(plain) != _VEHICLE_NUMBER or not plain.isalnum() or len(set(plain)) == 1:
        return ""
    return hashlib.sha256(f"{_KEY}:{plain}".encode()).hexdigest()[:_MARK_DIGITS]
