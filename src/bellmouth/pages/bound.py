"""A number and its unit stay on one line: ``81 %`` never ends a line with ``81``."""

import re

from bellmouth.pages.us_units import SHOWN, UNITS_BY_LANGUAGE, US

__all__ = ["bound", "bound_text"]

_ELSE = ("%", "s", "ms", "min", "h", "rpm", "V", "A", "L", "MB", "bit/s", "Hz", "cm²", "inHg")
_UNITS = {
    *_ELSE, *US, *(us for us, _, _ in US.values()), *SHOWN.values(),
    *(one for units in UNITS_BY_LANGUAGE.values() for one in units.values()),
}  # fmt: skip
_ANY = "|".join(sorted(map(re.escape, _UNITS), key=len, reverse=True))
_SPACE = re.compile(rf"(?<=\d)[ \n](?=(?:{_ANY})(?![\w/]))")
#: Where a text is somebody's own, or is drawn and not set in lines.
_LEFT = re.compile(r"(<(script|style|svg|code|pre|bdi|textarea)\b.*?</\2>)", re.DOTALL)
_TEXT = re.compile(r">[^<>]+<")


def bound(html: str) -> str:
    """A page whose texts never break between a number and its unit; attributes stay."""
    parts = _LEFT.split(html)
    # The pattern's groups follow each text: what is left as it is, and its element's name.
    for place in range(0, len(parts), 3):
        parts[place] = _TEXT.sub(_joined, f">{parts[place]}<")[1:-1]
    return "".join(part for place, part in enumerate(parts) if place % 3 != 2)


def bound_text(text: str) -> str:
    """A plain text in the same way: a space that must not break is a no-break space."""
    return _SPACE.sub("\u00a0", text)


def _joined(text: re.Match[str]) -> str:
    return bound_text(text[0])
