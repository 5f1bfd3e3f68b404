"""US units, in one place: factors, signs, and a text's metric quantities written in them.

What the trade reads a pressure in depends on whose it is: manifold and barometer in inches of
mercury (absolute, as scan tools show them); fuel, boost, exhaust and a smoke machine in psi. Common
practice, no source.
"""

import math
import re
from collections.abc import Mapping
from types import MappingProxyType

from babel.numbers import NumberFormatError, format_decimal, parse_decimal

__all__ = ["PSI", "SHOWN", "UNITS_BY_LANGUAGE", "US", "in_us", "label_in_us", "unit_of_reading"]

#: Kilopascals of what is read in psi; ``kPa`` alone is the manifold's and the barometer's.
PSI = "kPa/psi"
#: Metric unit -> (US unit, factor, offset): US = metric x factor + offset.
US: Mapping[str, tuple[str, float, float]] = MappingProxyType(
    {
        "degC": ("degF", 1.8, 32.0),
        "km": ("mi", 1 / 1.609344, 0.0),
        "km/h": ("mph", 1 / 1.609344, 0.0),
        "m": ("ft", 1 / 0.3048, 0.0),
        "mm": ("in", 1 / 25.4, 0.0),
        "mm2": ("in2", 1 / 645.16, 0.0),
        "kPa": ("inHg", 1 / 3.386389, 0.0),
        PSI: ("psi", 1 / 6.894757, 0.0),
        "Pa": ("inH2O", 1 / 249.08891, 0.0),
        "g/s": ("lb/min", 60 / 453.59237, 0.0),
        "L/h": ("gal/h", 1 / 3.785411784, 0.0),
        "Nm": ("lb·ft", 1 / 1.3558179483, 0.0),
        "N·m": ("lb·ft", 1 / 1.3558179483, 0.0),
    }
)
#: How a unit is written where it is shown.
SHOWN: Mapping[str, str] = MappingProxyType(
    {"degC": "°C", "degF": "°F", "mm2": "mm²", "in2": "in²", "ratio": "×", PSI: "kPa"}
)
#: Units that a language writes in its own way.
UNITS_BY_LANGUAGE: Mapping[str, Mapping[str, str]] = MappingProxyType({"de": {"rpm": "1/min"}})
_METRIC = {SHOWN.get(unit, unit): unit for unit in US} | {unit: unit for unit in US}
# Readings of the standard in inHg; and what a sentence, in each language, calls them.
_MERCURY = ("intake_manifold_pressure", "barometric_pressure")
_OF_MERCURY = re.compile(r"manifold|barometr|Saugrohr|Luftdruck", re.IGNORECASE)
_UNIT = "|".join(sorted(map(re.escape, _METRIC), key=len, reverse=True))
_NUMBER = r"[+\-−]?\d(?:[\d.,]*\d)?"
_BETWEEN = r"(?:\s?(?:–|-|±|…|to|bis|of|von|and|und)\s?)"
# 2.1 mm (1.8 to 2.5), 3 to 7 kPa, coolant 40 of 70 degC, 60 ± 1 mm
_QUANTITY = re.compile(
    rf"(?<![\w.,\[])({_NUMBER})(?:({_BETWEEN})({_NUMBER}))?([\s\u00a0])({_UNIT})(?![\w²/])"
    rf"(?:(\s\()({_NUMBER})(\s(?:to|bis)\s)({_NUMBER})(\)))?"
)
_LABEL = re.compile(rf"\[((?:[\d.,]+\s|thousand\s)?)({_UNIT})\]")
_LEAST_FIGURES = 2


def unit_of_reading(name: str, unit: str) -> str:
    """A reading's metric unit, as a key of `US`: of pressures by what the trade reads it in."""
    return PSI if unit == "kPa" and not name.startswith(_MERCURY) else unit


def in_us(text: str, language: str = "en") -> str:
    """A text with every metric quantity and every unit of a label in US units.

    Figures are read and written as the language does, to as many digits as they had.
    """

    def changed(found: re.Match[str]) -> str:
        first, joint, second, space, shown, opens, low, until, high, closes = found.groups()
        metric = _METRIC[shown]
        if metric == "kPa" and not _OF_MERCURY.search(text):
            metric = PSI
        ends = [one for one in (first, second, low, high) if one]
        is_spread = joint is not None and "\u00b1" in joint
        try:
            places = _places([second] if is_spread else ends, metric, language)
            told = [
                _written(one, metric, language, places, whole=not (is_spread and one is second))
                for one in ends
            ]
        except NumberFormatError:
            return found[0]
        return _joined(told, (joint, space, _us_shown(metric)), (opens, until, closes))

    return label_in_us(_QUANTITY.sub(changed, text))


def label_in_us(text: str) -> str:
    """A text with the units in its square brackets changed: ``Pressure [kPa]``."""
    return _LABEL.sub(lambda found: f"[{found[1]}{_us_shown(_METRIC[found[2]])}]", text)


def _us_shown(metric: str) -> str:
    unit = US[metric][0]
    return SHOWN.get(unit, unit)


def _joined(
    told: list[str], first: tuple[str | None, str, str], rest: tuple[str | None, ...]
) -> str:
    joint, space, unit = first
    text = told.pop(0)
    if joint:
        text += joint + told.pop(0)
    text += space + unit
    opens, until, closes = rest
    if opens:
        text += f"{opens}{told[0]}{until}{told[1]}{closes}"
    return text


def _figures(number: str) -> int:
    """How many digits of a number mean something."""
    digits = number.lstrip("+-−").lstrip("0.,")
    if not re.search(r"[.,]", number):
        digits = digits.rstrip("0")  # about 100 km are not 62.1 miles
    return len(re.sub(r"\D", "", digits))


def _places(numbers: list[str], metric: str, language: str) -> int:
    """Decimal places that keep what the numbers say, and no more."""
    unit, factor, offset = US[metric]
    most = max(numbers, key=lambda one: abs(_value(one, language)))
    if offset:
        return max(len(one.partition("." if language == "en" else ",")[2]) for one in numbers)
    size = abs(_value(most, language) * factor)
    if not size:
        return 0
    figures = max(_LEAST_FIGURES, *map(_figures, numbers))
    cap = 4 if unit == "in2" else 3
    places = min(max(0, figures - 1 - math.floor(math.log10(size))), cap)
    values = {_value(one, language) * factor for one in numbers}
    while places < cap and len({round(one, places) for one in values}) < len(values):
        places += 1  # 2.5 mm (2.3 to 2.6) is no 0.10 in (0.09 to 0.10)
    return places


def _value(number: str, language: str) -> float:
    return float(parse_decimal(number.replace("−", "-").lstrip("+"), locale=language))


def _written(number: str, unit: str, language: str, places: int, *, whole: bool) -> str:
    _, factor, offset = US[unit]
    value = _value(number, language) * factor + (offset if whole else 0.0)
    pattern = "#,##0." + "0" * places if places else "#,##0"
    told = str(format_decimal(value, format=pattern, locale=language))
    return f"+{told}" if number.startswith("+") and not told.startswith("-") else told
