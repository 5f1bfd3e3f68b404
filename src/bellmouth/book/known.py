"""What is known of a car, as the book keeps it, and back."""

import unicodedata
from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from typing import Any

from bellmouth.book.masking import checked
from bellmouth.car import car_from_mapping
from bellmouth.car.description import Car, Known
from bellmouth.errors import BookError

__all__ = ["car_of", "day_of", "known_document", "plain_car"]

_LONGEST = 80


def known_document(
    name: str,
    car: Car | Mapping[str, Any],
    kind: str | None = None,
    identification: str | None = None,
    keep_until: date | str | None = None,
) -> dict[str, Any]:
    """What a car's entry says: name and car, and what else is given.

    Raises
    ------
    BookError
        If the name, number or date cannot be used.
    CarError
        If the car is described in a way that no car file may be.
    """
    tidy = " ".join(name.split())
    if len(tidy) > _LONGEST or any(map(_unfit, tidy)) or not any(map(_seen, tidy)):
        shown = name if len(name) <= _LONGEST else f"{name[:_LONGEST]}…"
        raise BookError(f"{shown!r} cannot be a car's name: 1 to {_LONGEST} characters of text.")
    said = plain_car(car if isinstance(car, Car) else car_from_mapping(car))
    known: dict[str, Any] = {"name": tidy, "car": said}
    if kind:
        known["kind"] = " ".join(kind.split())
        if any(map(_unfit, known["kind"])):
            raise BookError(f"{kind!r} cannot be a kind of car: give it a text.")
    if identification:
        known["identification"] = checked(identification)
        if known["identification"] in tidy.upper():
            raise BookError(
                "The name would show the identification number on every list. Choose another name."
            )
    if keep_until:
        known["keep_until"] = day_of(keep_until)
    return known


def _unfit(character: str) -> bool:
    """Whether no name can hold it; marks of direction and joined pictures belong to writing."""
    return unicodedata.category(character) in {"Cc", "Cs", "Zl", "Zp"}


def _seen(character: str) -> bool:
    """Whether there is something to see and to point at: letter, number, sign or punctuation."""
    return unicodedata.category(character)[0] in "LNPS"


def plain_car(car: Car) -> dict[str, Any]:
    """A car as the table that `car_from_mapping` reads, without what is unknown.

    Its family file is left out: what a book says must come out the same wherever it is carried.
    """
    said: dict[str, Any] = {}
    for field in fields(Car):
        value = getattr(car, field.name)
        if value is None or field.name in ("source", "family"):
            continue
        if isinstance(value, Known):
            value = {"value": value.value, "sd": value.sd} if value.sd else value.value
        said[field.name] = value
    return said


def car_of(document: Mapping[str, Any]) -> Car:
    """The car that an entry describes."""
    return car_from_mapping(document["car"], document["name"])


def day_of(day: date | str) -> str:
    """A day as the book keeps it (ISO 8601); refused where it is none."""
    try:
        return (day if isinstance(day, date) else date.fromisoformat(day)).isoformat()
    except ValueError:
        raise BookError(f"{day!r} is no date. Write it like 2026-05-31.") from None
