"""What the data files of this room hold, read once: steps, cautions, materials, memories, works."""

import functools
import tomllib
from collections.abc import Iterator, Mapping
from importlib.resources import files
from typing import Any

__all__ = ["FILES", "content", "content_texts"]

#: The data files, by what they hold.
FILES = ("works", "steps", "cautions", "materials", "memories")
# Keys whose values are words for people; the rest are names and numbers.
_SAID = frozenset(
    {"title", "say", "what", "part", "allowed", "forbidden", "lost", "back", "hand_over"}
)


@functools.cache
def content(name: str) -> Mapping[str, Any]:
    """One data file as plain tables; ``name`` is one of ``FILES``. Not to be changed."""
    text = files(__package__).joinpath(f"{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def content_texts() -> Iterator[tuple[str, str]]:
    """Every text for people, with the file that it stands in; what has to be translated."""
    for name in FILES:
        for text in _texts(content(name)):
            yield f"{name}.toml", text
    for text in content("cautions").values():
        if isinstance(text, str):
            yield "cautions.toml", text


def _texts(value: Any, key: str = "") -> Iterator[str]:
    if isinstance(value, Mapping):
        for inner, item in value.items():
            if inner == "blanks":
                yield from item
            elif inner != "values":
                yield from _texts(item, inner)
    elif isinstance(value, list):
        for item in value:
            yield from _texts(item, key if isinstance(item, str) else "")
    elif isinstance(value, str) and key in _SAID:
        yield value
