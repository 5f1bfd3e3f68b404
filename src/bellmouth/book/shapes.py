"""The shape of an entry's document, by its kind: what the book and its pages read of it later.

A book cannot take an entry back, so one of another shape would break the car's page and forecast
for good. What nobody reads may be anything.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from bellmouth.errors import BookError, shown

__all__ = ["refuse_other_shape"]

Odd = Iterator[tuple[str, str, str]]

# Nothing that a garage reads is larger, seconds since 1970 included (clock.LATEST_S).
_LARGEST = 1e11
_TEXT, _WHOLE, _NUMBER, _NOTHING = "text", "a whole number", "a number", "nothing"
_TABLE = "a table"


def _or_nothing(shape: Any) -> tuple[Any, str]:
    return (shape, _NOTHING)


class _Each:
    """A table of any names, each with something of one shape."""

    def __init__(self, shape: Any) -> None:
        self.shape = shape


# A name that ends in "?" may be left out. A list has one shape for all that is in it, a tuple
# several that will do.
_SIZE = {name: _or_nothing(_NUMBER) for name in ("value", "low", "high")} | {"unit": _TEXT}
_CAUSE = {"cause": _TEXT, "probability": _NUMBER, "sizes": _Each(_SIZE)}
_FINDING = {"causes": [_CAUSE], "prior": _Each(_NUMBER), "disagreeing?": _Each(_TEXT)}
_ASKED = {
    "references?": [_WHOLE],
    "results?": [_TEXT],
    "complaint?": _or_nothing(_TEXT),
    "car?": _TABLE,
}
_OPENING = {"parameter": _TEXT, "value": _NUMBER, "standard_error": _NUMBER}
_SHAPES: Mapping[str, Mapping[str, Any]] = {
    "car": {
        "name": _TEXT,
        "car": _TABLE,
        "kind?": _TEXT,
        "identification?": _TEXT,
        "keep_until?": _TEXT,
    },
    "job": {"complaint?": _TEXT, "comeback_of?": _WHOLE},
    "recording": {
        "source": _TEXT,
        "seconds": _NUMBER,
        "samples": _WHOLE,
        "samples_per_s": _or_nothing(_NUMBER),
        "parameters": _Each(_TEXT),
        "notes": [_TEXT],
        "unmapped": [_TEXT],
        "dropped": _Each(_WHOLE),
        "begins_s": _NUMBER,
        "by?": _TEXT,
        "idle_opening?": _OPENING,
        "steps?": _Each(_NUMBER),
    },
    "finding": {"finding": _FINDING, "recording?": _WHOLE, "also?": [_WHOLE], **_ASKED},
    "work": {"done": [_TEXT], "by?": _TEXT, "gasket?": _TEXT},
    "card": {},
    "attempt": {
        "procedure": _TEXT,
        "judgement": _TEXT,
        "settled?": _TEXT,
        "does?": _TEXT,
        "by?": _TEXT,
        "coached?": _or_nothing(_TABLE),
    },
    "proof": {"proof": {"verdict": _TEXT}, "before?": _WHOLE, "after?": _WHOLE, **_ASKED},
    "note": {"text?": _TEXT},
    "photo": {"width?": _WHOLE, "height?": _WHOLE, "text?": _TEXT},
}


def refuse_other_shape(kind: str, document: Mapping[str, Any]) -> None:
    """Refuse a document that an entry of its kind cannot have.

    Raises
    ------
    BookError
        One sentence that names the place.
    """
    for where, found, wanted in _odd(document, _SHAPES[kind], kind):
        raise BookError(
            f"This is no document of the kind {kind}: {where} is {found}, and should be {wanted}."
        )


def _odd(value: Any, shape: Any, where: str) -> Odd:
    """What is not of its shape: where, what stands there, and what should."""
    if isinstance(shape, tuple):
        if all(any(_odd(value, one, where)) for one in shape):
            yield from _odd(value, shape[0], where)
    elif isinstance(shape, str):
        if not _is(value, shape):
            yield where, shown(value), shape
    elif isinstance(shape, list):
        if not isinstance(value, list | tuple):
            yield where, shown(value), "a list"
            return
        for place, one in enumerate(value, 1):
            yield from _odd(one, shape[0], f"{where}[{place}]")
    else:
        yield from _odd_table(value, shape, where)


def _odd_table(value: Any, shape: Any, where: str) -> Odd:
    if not isinstance(value, Mapping):
        yield where, shown(value), _TABLE
        return
    if isinstance(shape, _Each):
        for name, one in value.items():
            yield from _odd(one, shape.shape, _inner(where, name))
        return
    for told, one in shape.items():
        name = told.rstrip("?")
        if name in value:
            yield from _odd(value[name], one, _inner(where, name))
        elif name == told:
            yield _inner(where, name), _NOTHING, "there"


def _inner(where: str, name: str) -> str:
    return f"{where}.{name}"


def _is(value: Any, shape: str) -> bool:
    if shape == _TABLE:
        return isinstance(value, Mapping)
    if shape == _NOTHING:
        return value is None
    if shape == _TEXT:
        return isinstance(value, str)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    # Not a number compares with nothing.
    return bool(abs(value) <= _LARGEST) and (shape == _NUMBER or isinstance(value, int))
