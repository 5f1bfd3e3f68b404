"""A sentence of the rooms below in another language: known again by its shape.

The rooms below hand over whole English sentences. The catalogue holds their shapes, such as
``trims of {0} open-loop stretches``, as :mod:`bellmouth.pages.sentences` found them. A text is
read as the shape, or the row of shapes, that leaves the fewest words unknown; what fills the places
is read in the same way, and what is a name or a figure stays itself.
"""

import functools
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from babel.numbers import get_decimal_symbol, get_group_symbol

from bellmouth.pages.card_catalogue import catalogue
from bellmouth.pages.us_units import SHOWN, UNITS_BY_LANGUAGE

__all__ = ["DATA_BEGINS", "DATA_ENDS", "Recogniser", "recogniser"]

#: Marks round what is nobody's words but somebody's data, so that nothing in it is changed later.
DATA_BEGINS, DATA_ENDS = "\ue000", "\ue001"

_PLACE = re.compile(r"\{(\w*)\}")
_WORD = re.compile(r"[A-Za-zÀ-ÿ]{2,}")
_FIGURE = re.compile(r"[+\-−]?\d+(,\d{3})*(\.\d+)?")
# A figure with its unit and what stands round it: 2.1 mm, 0.6 s, ± 3 %, 4 µg, 1.1 g/s (0.5. The
# quantifiers give nothing back: a name of forty digits would be tried in more ways than there is
# time for.
_SIGNS = r"\s.,+\-−–±%()/·²=<>"
_MEASURE = re.compile(
    rf"[{_SIGNS}]*+(?:\d[\d{_SIGNS}]*+"
    r"(?:\b(?:mm²|mm2|mm|kPa|g/s|°C|degC|km/h|km|rpm|kbit/s|ms|s|min|MB|V|L|A|mA|K|bit)\b)?+"
    rf"[{_SIGNS}]*+)*+"
)
_UNIT = re.compile(r"\b(?:mm2|degC|rpm)\b")
_ALONE = re.compile(r"mm²|mm2|mm|m|kPa|g/s|degC|km/h|km|rpm|ms|min|MB")
_COUNTED = re.compile(r"([+\-−]?\d[\d.,]*(?:\s%)?\s)(.+)", re.DOTALL)
# A file's name may have spaces in it, but no sentence's end.
_FILE = re.compile(
    r'(?:[^,:;()".]|\.(?!\s))*\.(csv|gz|parquet|toml|mf4|log|asc|blf|trc|json)', re.IGNORECASE
)
# As a program or a file writes it: engine_speed, mass_air_flow [g/s].
_NAME = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)+( \[[^\]]*\])?|\w+ \[[^\]]*\]")
_QUOTED = re.compile(r'"[^"]*"|\[[^\]]*\]')
# What follows is typed letter for letter, whatever the language: the name of a mark.
_TYPED = (
    'mark it as "',
    'mark "',
    "use one of ",
    "or a pair: ",
    "one or more of ",
    "Checks: ",
    "Works are ",
    "Keys are ",
    "id you mean ",
    "Add a line such as ",
    " names no file. Write ",
    " there is no folder ",
    " nothing may be written in ",
)
# What is said of a line of a file: its key is typed as it stands, too.
_OF_KEYS = re.compile(
    r"\{0\}: \{1\} (?:is missing|has no value|is far too large|(?:=|is) .*(?:is impossible|is not "
    r"known|names no file|, not a number|, not text|Write true or false))"
)
_LISTED = re.compile(r"Known \{\d\}: \{\d\}\.$")
_DEEPEST = 9
# A longer text is somebody's, not ours; reading it would take its time.
_LONGEST = 1500
_MOST_SENTENCES = 3
# Where a text may fall apart, the strongest first. What stands between is kept.
_JOINTS = tuple(
    re.compile(pattern)
    for pattern in (
        r"(\n+)", r"(\s·\s)", r"(;\s)", r"(:\s)", r"(,\s)",
        r"(\s?[()])", r"(\s\+\s|(?<=[a-z])\+(?=[a-z]))", r"(\s)",
    )
)  # fmt: skip
_SENTENCES = re.compile(r"(?<=[.?!)])\s+(?=[A-Z\d\"(+])")
# Spaces part only what is a name of the trade and a figure: idle 2, trim 1.
_LAST_JOINT_WORDS = 4


@dataclass(frozen=True, slots=True)
class _Shape:
    """A shape of the catalogue: its pieces, the longest of them, and how it is said."""

    pieces: tuple[str, ...]
    longest: str
    places: tuple[str, ...]
    typed: tuple[bool, ...]
    said: str
    letters: int


@dataclass(frozen=True, slots=True)
class _Reading:
    """A text as it was read: words that stayed unknown, pieces that it took, and the result."""

    unknown: int
    pieces: int
    said: str

    @property
    def rank(self) -> tuple[int, int]:
        return self.unknown, self.pieces


class Recogniser:
    """Says English texts in one language.

    Parameters
    ----------
    language
        One of the catalogue's.
    """

    def __init__(self, language: str) -> None:
        self._texts: Mapping[str, str] = catalogue(language)
        self._shapes = sorted(_shapes(self._texts), key=lambda one: -one.letters)
        self._decimal = get_decimal_symbol(language)
        self._group = get_group_symbol(language)
        self._units = {**SHOWN, **UNITS_BY_LANGUAGE.get(language, {})}
        self._read = functools.lru_cache(maxsize=8192)(self._reading)

    def say(self, text: str) -> str:
        """The text in the language; what is no text of ours is left as it is, between marks."""
        return self._read(text, 0).said

    def unknown(self, text: str) -> int:
        """How many words of a text the catalogue does not know: names, or a gap in it."""
        return self._read(text, 0).unknown

    def _reading(self, text: str, depth: int) -> _Reading:
        bare = text.strip(" ")
        if bare == text:
            return self._plain(bare) or self._searched(bare, depth)
        start = text[: len(text) - len(text.lstrip(" "))]
        inner = self._read(bare, depth)
        end = text[len(start) + len(bare) :]
        return _Reading(inner.unknown, inner.pieces, f"{start}{inner.said}{end}")

    def _plain(self, text: str) -> _Reading | None:
        """What needs no search: a text of the catalogue, a figure, the name of a file."""
        if (exact := self._exact(text)) is not None:
            said = exact
        elif _MEASURE.fullmatch(text):
            said = self._figures(text)
        elif not text or _ALONE.fullmatch(text):
            said = self._units.get(text, text)
        elif _FILE.fullmatch(text) or _NAME.fullmatch(text):
            said = _data(text)
        else:
            return None
        return _Reading(0, 1, said)

    def _searched(self, text: str, depth: int) -> _Reading:
        best = _Reading(len(_WORD.findall(text)), 1, _data(text))
        if depth >= _DEEPEST or len(text) > _LONGEST:
            return best
        for way in (
            self._by_shape,
            self._by_source,
            self._by_sentences,
            self._by_end,
            self._by_joint,
        ):
            best = min((best, *way(text, depth)), key=lambda one: one.rank)
            if not best.unknown:
                break
        return best

    def _exact(self, text: str) -> str | None:
        if text in self._texts:
            return self._texts[text]
        # Alone a piece is a sentence, in a sentence it is none, and the other way about.
        turned = text[:1].swapcase() + text[1:]
        if turned in self._texts:
            said = self._texts[turned]
            if said == turned:  # English is the keys themselves, and small letters stay small
                return text
            return said[:1].upper() + said[1:] if text[:1].isupper() else said
        return None

    def _by_shape(self, text: str, depth: int) -> Iterator[_Reading]:
        for shape in self._shapes:
            if shape.longest not in text:
                continue
            if (found := _pattern(shape.pieces).fullmatch(text)) is None:
                continue
            filled = [
                _typed(one) if typed and one != "none" else self._read(one, depth + 1)
                for typed, one in zip(shape.typed, found.groups(), strict=True)
            ]
            words = {place: one.said for place, one in zip(shape.places, filled, strict=True)}
            reading = _Reading(
                sum(one.unknown for one in filled),
                1 + sum(one.pieces for one in filled),
                _filled(shape.said, words),
            )
            yield reading
            if not reading.unknown:
                return

    def _by_source(self, text: str, depth: int) -> Iterator[_Reading]:
        """What is said of a recording, after its name: colons in it part nothing then."""
        source, colon, said = text.partition(": ")
        if depth == 0 and said:
            name, rest = self._read(source, 1), self._read(said, 1)
            yield _together(replace(name, said=name.said + colon), rest)

    def _by_sentences(self, text: str, depth: int) -> Iterator[_Reading]:
        """Sentence by sentence, where several may be one shape: the best way to part them."""
        cuts = [0, *(found.end() for found in _SENTENCES.finditer(text)), len(text)]
        if len(cuts) < 3:
            return
        best: list[_Reading] = [_Reading(0, 0, "")]
        for end in range(1, len(cuts)):
            ways = []
            for start in range(max(0, end - _MOST_SENTENCES), end):
                if (start, end) != (0, len(cuts) - 1):
                    piece = self._read(text[cuts[start] : cuts[end]], depth + 1)
                    ways.append(_together(best[start], piece))
            best.append(min(ways, key=lambda one: one.rank))
        yield best[-1]

    def _by_end(self, text: str, depth: int) -> Iterator[_Reading]:
        """A shape with a full stop after it, or a count before it."""
        if text[-1] in ".:" and len(text) > 1:
            bare = self._read(text[:-1], depth + 1)
            yield _Reading(bare.unknown, bare.pieces, bare.said + text[-1])
        if found := _COUNTED.fullmatch(text):
            rest = self._read(found[2], depth + 1)
            yield _Reading(rest.unknown, 1 + rest.pieces, self._figures(found[1]) + rest.said)

    def _by_joint(self, text: str, depth: int) -> Iterator[_Reading]:
        """The text piece by piece, where that leaves less unknown."""
        whole = _QUOTED.sub(lambda one: "\ue002" * len(one[0]), text)
        for number, joint in enumerate(_JOINTS):
            cuts = [found.span(1) for found in joint.finditer(whole)]
            if not cuts or (number == len(_JOINTS) - 1 and len(cuts) >= _LAST_JOINT_WORDS):
                continue
            ends = [0, *(end for _, end in cuts)], [*(start for start, _ in cuts), len(text)]
            read = _Reading(0, 0, "")
            between = iter([*(text[a:b] for a, b in cuts), ""])
            for start, end in zip(*ends, strict=True):
                piece = self._read(text[start:end], depth + 1)
                read = _together(read, replace(piece, said=piece.said + next(between)))
            yield read
            if not read.unknown:
                return

    def _figures(self, text: str) -> str:
        """Figures and units as the language writes them."""
        told = _FIGURE.sub(self._figure, text)
        return _UNIT.sub(lambda found: self._units.get(found[0], found[0]), told)

    def _figure(self, found: re.Match[str]) -> str:
        swapped = {",": self._group, ".": self._decimal}
        return "".join(swapped.get(sign, sign) for sign in found[0])


def _data(text: str) -> str:
    return f"{DATA_BEGINS}{text}{DATA_ENDS}"


def _is_typed(before: str, after: str) -> bool:
    """Whether a place holds somebody's words: what stands in quotes is a name."""
    return before.endswith(_TYPED) or (before.endswith('"') and after.startswith('"'))


def _typed_places(english: str, pieces: list[str]) -> tuple[bool, ...]:
    """Which places of a shape hold somebody's words."""
    of_keys = _OF_KEYS.match(english) is not None
    listed = _LISTED.search(english) is not None
    return tuple(
        _is_typed(before, after)
        or (of_keys and place == 1)
        or (listed and place == len(pieces) - 2)
        for place, (before, after) in enumerate(pairwise(pieces))
    )


def _typed(text: str) -> _Reading:
    return _Reading(0, 1, _data(text))


def _together(first: _Reading, then: _Reading) -> _Reading:
    return _Reading(
        first.unknown + then.unknown, first.pieces + then.pieces, first.said + then.said
    )


def _shapes(texts: Mapping[str, str]) -> Iterator[_Shape]:
    for english, said in texts.items():
        if "{" not in english:
            continue
        pieces = _PLACE.split(english)
        literal = [piece.replace("{{", "{").replace("}}", "}") for piece in pieces[::2]]
        if len(pieces) == 1:
            continue
        yield _Shape(
            tuple(literal),
            max(literal, key=len),
            tuple(pieces[1::2]),
            _typed_places(english, literal),
            said,
            sum(map(len, literal)),
        )


@functools.cache
def _pattern(pieces: tuple[str, ...]) -> re.Pattern[str]:
    """Made when it is first wanted: most shapes never are."""
    return re.compile("(.*?)".join(map(re.escape, pieces)), re.DOTALL)


def _filled(said: str, words: Mapping[str, str]) -> str:
    told = _PLACE.sub(lambda found: words.get(found[1], found[0]), said)
    return told.replace("{{", "{").replace("}}", "}")


@functools.cache
def recogniser(language: str) -> Recogniser:
    """The one of a language, made once."""
    return Recogniser(language)
