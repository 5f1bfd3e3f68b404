"""Words in one language and one set of units: phrases, labels, numbers, quantities, and the
sentences of the rooms below."""

import functools
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from babel import Locale
from babel.numbers import format_decimal, format_percent

from bellmouth.pages.card_catalogue import labels, translations
from bellmouth.pages.recognised import DATA_BEGINS, DATA_ENDS, recogniser
from bellmouth.pages.us_units import SHOWN, UNITS_BY_LANGUAGE, US, in_us
from bellmouth.work.phrases import Phrase, Quantity, Value

if TYPE_CHECKING:
    from bellmouth.finding.result import Size

__all__ = ["ENGLISH", "Units", "Words"]

Units = Literal["metric", "us"]
#: The unit as data write it, after a figure; alone it is a file's own word, and stays.
_DEGREES = re.compile(r"(?<=\d)([ \u00a0])degC\b")
_SPACE = "\u00a0"  # a number and its unit stay on one line

_PLACES = {
    "in": 3, "in2": 4, "ratio": 2, "L": 1, "lb/min": 2, "psi": 1, "inHg": 1, "V": 1, "mm": 1,
    "mm2": 1,
}  # fmt: skip
_ROUND = {"mi": 10.0}


@dataclass(frozen=True, slots=True)
class Words:
    """Says phrases in ``language`` (``en`` or ``de``), quantities in ``units``."""

    language: str = "en"
    units: Units = "metric"

    @property
    def direction(self) -> str:
        """Which way the language is written: ``ltr`` or ``rtl``."""
        return Locale.parse(self.language).text_direction

    def text(self, english: str) -> str:
        """A text in the language; itself where the catalogue does not hold it."""
        return translations(self.language).gettext(english) if english else ""

    def told(self, english: str) -> str:
        """A text of the rooms below in the language and the units, whatever is filled in in it.

        Names and what else is no word of ours stay as they are.
        """
        if not english or (self.language == "en" and self.units == "metric"):
            return _DEGREES.sub(rf"\1{SHOWN['degC']}", english) if "degC" in english else english
        return _told(english, self.language, self.units)

    def typed(self, outcomes: Iterable[str]) -> str:
        """Outcomes as they are typed, ``low or high``; where another language is read, each with
        its meaning. What is told in several words is no word to type."""
        *others, last = map(self._outcome, outcomes)
        return self.text("{0} or {1}").format(", ".join(others), last) if others else last

    def _outcome(self, outcome: str) -> str:
        said = self.told(outcome.replace("_", " "))
        if " " in outcome:
            return said
        return outcome if self.language == "en" else f"{outcome} ({said})"

    def figure(self, value: float | None, unit: str = "", places: int = 1) -> str:
        """A figure of a table whose head names the unit, to as many digits as it is known."""
        if value is None or value != value:  # noqa: PLR0124 - unknown or not a number
            return "–"
        if self.units == "us" and unit in US:
            value, places = self.scaled(value, unit), _us_places(places, unit)
        pattern = "0." + "0" * places if places else "0"
        # Adding nothing takes the sign from a zero.
        return format_decimal(round(value, places) + 0.0, format=pattern, locale=self.language)

    def scale(self, unit: str) -> tuple[float, float]:
        """Factor and offset from a metric unit to the reader's."""
        return US[unit][1:] if self.units == "us" and unit in US else (1.0, 0.0)

    def scaled(self, value: float, unit: str) -> float:
        """A metric value in the reader's units, for a picture or a table."""
        factor, offset = self.scale(unit)
        return value * factor + offset

    def say(self, phrase: Phrase) -> str:
        """A phrase, its quantities written out."""
        filled = {name: self.value(value) for name, value in phrase.values.items()}
        return self.text(phrase.text).format(**filled)

    def label(self, name: str, **values: Value) -> str:
        """One of the card's fixed words."""
        return self.say(Phrase(labels()[name], values))

    def value(self, value: Value) -> str:
        """A value as it is written in the language."""
        if isinstance(value, Quantity):
            return self.quantity(value)
        return value if isinstance(value, str) else self.number(value, 0)

    def number(self, value: float, places: int) -> str:
        """A number with at most so many decimal places."""
        pattern = "#,##0." + "#" * places if places else "#,##0"
        return format_decimal(value, format=pattern, locale=self.language)

    def percent(self, probability: float) -> str:
        """A probability in whole per cent; never 0 or 100, which nobody can know."""
        edge = "<" if probability < 0.01 else ">" if probability > 0.99 else ""
        kept = min(0.99, max(0.01, probability))
        return edge + format_percent(kept, format=f"#,##0{_SPACE}%", locale=self.language)

    def unit(self, unit: str) -> str:
        """The unit in which a metric one is shown."""
        if self.units == "us" and unit in US:
            unit = US[unit][0]
        return UNITS_BY_LANGUAGE.get(self.language, {}).get(unit, SHOWN.get(unit, unit))

    def quantity(self, quantity: Quantity) -> str:
        """A quantity or range with its unit, converted where US units are wanted."""
        ends = [quantity.value] if quantity.to is None else [quantity.value, quantity.to]
        told = "–".join(self._converted(end, quantity.unit) for end in ends)
        return f"{told}{_SPACE}{self.unit(quantity.unit)}"

    def size(self, size: "Size") -> str:
        """A size with its interval: ``2.1 mm, 1.8 to 2.5``; a ratio's is how far it is off."""
        if size.unit == "ratio":
            off, low, high = (self._off(end) for end in (size.value, size.low, size.high))
            return self.label("size", value=f"{off}{_SPACE}%", low=low, high=high)
        value = Quantity(size.value, size.unit)
        low, high = (self._converted(end, size.unit) for end in (size.low, size.high))
        return self.label("size", value=value, low=low, high=high)

    def _off(self, ratio: float) -> str:
        told = self.number(round(100 * (ratio - 1)) + 0.0, 0)
        return told if told.startswith(("-", "\u2212")) else f"+{told}"

    def _converted(self, value: float, unit: str) -> str:
        if self.units == "us" and unit in US:
            unit, factor, offset = US[unit]
            value = value * factor + offset
        if unit in _ROUND:
            value = _ROUND[unit] * round(value / _ROUND[unit])
        return self.number(value, _PLACES.get(unit, 0 if abs(value) >= 10 else 1))


#: The words of whoever chooses none.
ENGLISH = Words()


def _us_places(places: int, unit: str) -> int:
    """Decimal places in US units for those of the metric one."""
    return max(0, places + math.ceil(-math.log10(US[unit][1]) - 0.1))


@functools.lru_cache(maxsize=4096)
def _told(english: str, language: str, units: Units) -> str:
    said = recogniser(language).say(english)
    if units == "us":
        # What is somebody's data is not ours to convert.
        pieces = re.split(f"({DATA_BEGINS}.*?{DATA_ENDS})", said, flags=re.DOTALL)
        said = "".join(
            piece if piece.startswith(DATA_BEGINS) else in_us(piece, language) for piece in pieces
        )
    return said.replace(DATA_BEGINS, "").replace(DATA_ENDS, "")
