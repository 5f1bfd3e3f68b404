"""Words with places for quantities: what a card says, before a language and units are chosen."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

__all__ = ["Phrase", "Quantity", "Value", "phrase", "quantity"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value, or a range where ``to`` is given, in a unit.

    Units are metric: ``s``, ``min``, ``rpm``, ``degC``, ``V``, ``kPa``,
    ``kPa/psi`` (a pressure that US units have in psi, not in inHg), ``km``, ``mm``, ``mm2``,
    ``g/s``, ``L``, ``ratio``. A face converts and writes them.
    """

    value: float
    unit: str
    to: float | None = None


Value = Quantity | int | str
_NONE: Mapping[str, Value] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Phrase:
    """English text, the key of the catalogue, with ``{names}`` that ``values`` fill."""

    text: str
    values: Mapping[str, Value] = field(default_factory=lambda: _NONE)


def quantity(table: Mapping[str, Any]) -> Quantity:
    """A quantity from ``{value = 70, to = 95, unit = "degC"}``."""
    to = table.get("to")
    return Quantity(float(table["value"]), str(table["unit"]), None if to is None else float(to))


def phrase(text: str, values: Mapping[str, Any] | None = None) -> Phrase:
    """A phrase from a data file: numbers stay, tables become quantities."""
    filled = {
        name: quantity(value) if isinstance(value, Mapping) else value
        for name, value in (values or {}).items()
    }
    return Phrase(text, MappingProxyType(filled))
