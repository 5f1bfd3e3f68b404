"""The fields of a form about a car: their words, units, and how a value is written in them."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from bellmouth.car.reader import limits_of
from bellmouth.errors import BellmouthError
from bellmouth.pages.site.typed import number_of, thousands_of

if TYPE_CHECKING:
    from bellmouth.pages.card_words import Words

__all__ = ["BY_KEY", "FIELDS", "CarField", "field_text", "value_of"]

_SPREAD = re.compile(r"\s*(?:±|\+-|\+/-)\s*")


@dataclass(frozen=True)
class CarField:
    """One of the keys of a car file: what it is called, its metric unit, and what it holds.

    ``kind`` is ``known`` (a number, perhaps with how well it is known), ``whole``, or the choices.
    """

    key: str
    words: str
    unit: str = ""
    kind: Literal["known", "whole", "choice"] = "known"
    choices: tuple[tuple[str, str], ...] = ()


#: In the order in which they are asked for.
FIELDS = (
    CarField("displacement_l", "Displacement", "L"),
    CarField("metering", "Air is measured by", kind="choice",
             choices=(("airflow", "an airflow meter"), ("pressure", "manifold pressure"))),
    CarField("cylinders", "Cylinders", kind="whole"),
    CarField("banks", "Banks", kind="whole"),
    CarField("turbocharged", "Turbocharged", kind="choice",
             choices=(("", "unknown"), ("yes", "yes"), ("no", "no"))),
    CarField("throttle_bore_mm", "Throttle bore", "mm"),
    CarField("idle_rpm", "Specified warm idle", "rpm"),
    CarField("closed_throttle_position_pct", "Throttle position when closed", "%"),
    CarField("ethanol_pct", "Ethanol in the fuel", "%"),
    CarField("barometric_pressure_kpa", "Barometric pressure", "kPa"),
    CarField("altitude_m", "Altitude", "m"),
    CarField("ambient_air_temperature_c", "Air temperature outside", "degC"),
)  # fmt: skip
BY_KEY = {one.key: one for one in FIELDS}


def field_text(value: Any, field: CarField, speak: "Words") -> str:
    """A car's value as its field shows it, in the reader's units; empty where it is unknown."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if field.kind != "known":
        return str(value)
    told, sd = (value["value"], value.get("sd")) if isinstance(value, Mapping) else (value, None)
    factor, offset = speak.scale(field.unit)
    text = _written(told * factor + offset, speak)
    return f"{text} ± {_written(sd * factor, speak)}" if sd else text


def value_of(text: str, field: CarField, speak: "Words") -> Any:
    """What a field says, as a car file holds it; None for unknown.

    Raises
    ------
    BellmouthError
        If it is no number where one is asked for, one that no car has, or may be thousands as well
        as decimals.
    """
    told = text.strip()
    if not told:
        return None
    if field.key == "turbocharged":
        return told == "yes"
    if field.kind == "choice":
        return told
    number, *spread = _SPREAD.split(told, maxsplit=1)
    if field.kind == "whole":
        whole = number_of(told, field.words)
        return int(whole) if whole.is_integer() else whole
    value = _known(number, field, speak)
    if not spread:
        return value
    sd = number_of(spread[0], field.words, spread=True)
    return {"value": value, "sd": sd / speak.scale(field.unit)[0]}


def _known(text: str, field: CarField, speak: "Words") -> float:
    """A value in its metric unit, read as what a car can have: an idle of 1,200 is not 1.2."""
    factor, offset = speak.scale(field.unit)
    least, most, unit = limits_of(field.key)
    decimals = number_of(text, field.words, spread=True)
    read = [decimals, *thousands_of(text, speak.language)]
    meant = [one for one in read if least <= (one - offset) / factor <= most]
    if not meant:
        raise BellmouthError(
            f'{field.words}: "{text}" is impossible. It lies between {least:g} and {most:g} {unit}.'
        )
    if len(meant) > 1:
        raise BellmouthError(
            f'{field.words}: "{text}" may be {meant[1]:.0f} or {decimals:g}. Write the one that is '
            "meant."
        )
    return (meant[0] - offset) / factor


def _written(value: float, speak: "Words") -> str:
    text = f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"
    return text.replace(".", ",") if speak.language == "de" else text
