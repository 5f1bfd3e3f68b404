"""What is said where a command is refused: one sentence, in the language that was chosen for it.

Errors of the rooms below are sentences of the catalogue. Those of the command line itself come in
a library's English and are known again here; what was typed stays letter for letter.
"""

import os
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import click

from bellmouth.cli.speaking import LANGUAGE

if TYPE_CHECKING:
    from bellmouth.pages.card_words import Words

__all__ = ["refusal"]

#: What the library says, and the text of the catalogue that says the same.
_USAGE = tuple(
    (re.compile(pattern), text)
    for pattern, text in (
        (r"Missing option (\S.*?)\.(?s:\s.*)?", "Missing option {0}."),
        (r"Missing argument (\S.*?)\.(?s:\s.*)?", "Missing argument {0}."),
        (r"Missing command\.\s*", "Missing command."),
        (r"No such option (\S+)\.", "No such option {0}."),
        (r"No such command (\S+)\.", "No such command {0}."),
        (r"Option (\S+) requires (?:an argument|\d+ arguments)\.", "Option {0} needs a value."),
        (r"Option (\S+) does not take a value\.", "Option {0} takes no value."),
        (r"Got unexpected extra arguments? \((.+)\)\s*", "There is no place for {0}."),
        (r"(\S.*) is not one of (.+)\.", "{0} is not one of {1}."),
        (r"(\S.*) is not a (?:number|valid (?:float|integer)(?:\srange)?)\.", "{0} is no number."),
        (r"(\S.*) is not in the range (.+)\.", "{0} is not in the range {1}."),
    )
)
_MEANT = re.compile(r"(.+\.) \(?(?:Did you mean|Possible options:)(?: one of:)? (.+?)[?)]+")
_NAMELIKE = re.compile(r"[^a-z_:+-]")
_INVALID = re.compile(r"Invalid\svalue\sfor\s([^:]+): (.+)", re.DOTALL)


# What stands for a typed name while its sentence is told: no word, and part of none.
_STANDS_FOR = 0xE010
_MOST_NAMES = 50


def refusal(error: Exception, chosen: Mapping[str, str], typed: Sequence[str] = ()) -> str:
    """The sentence for an error.

    Parameters
    ----------
    error
        Bad input, bad use, or what the system refused of a file.
    chosen
        The root context's object: the language that was chosen; left out, the locale's.
    typed
        The words of the command line: names of cars and files among them are told as they stand.
    """
    from bellmouth.pages.card_catalogue import default_language  # noqa: PLC0415 - errors only

    language = chosen.get(LANGUAGE) or default_language()
    if language == "en":
        return _english(error)
    from bellmouth.pages.card_words import Words  # noqa: PLC0415

    words = Words(language)
    if not isinstance(error, click.UsageError):
        return _told(_english(error), words, typed)
    more = words.text("See {0} --help.").format(_path(error))
    return f"{_used(error.format_message(), words)} {more}"


def _told(english: str, words: "Words", typed: Sequence[str]) -> str:
    """A sentence in the language, but for the names in it that were typed.

    A car may be called *Long Idle*. A word that is the sentence's own is known by this: without it
    the sentence is not understood.
    """
    from bellmouth.pages.recognised import recogniser  # noqa: PLC0415 - errors only

    unknown = recogniser(words.language).unknown
    kept: dict[str, str] = {}
    for name in _names(english, typed):
        sign = chr(_STANDS_FOR + len(kept))
        without = english.replace(name, sign)
        if unknown(without) <= unknown(english):
            english, kept = without, {**kept, sign: name}
    said = words.told(english)
    return "".join(kept.get(sign, sign) for sign in said)


def _names(english: str, typed: Sequence[str]) -> list[str]:
    """What was typed and stands in the sentence, the longest first: before its first colon, or a
    name that no word of a sentence looks like."""
    given = {part for word in typed for part in (word, word.partition("=")[2]) if part}
    found = [
        one
        for one in given
        if english.startswith(f"{one}: ") or (one in english and _NAMELIKE.search(one))
    ]
    return sorted(found, key=lambda one: (-len(one), one))[:_MOST_NAMES]


def _english(error: Exception) -> str:
    if isinstance(error, click.UsageError):
        message = error.format_message().rstrip()
        stop = "" if message.endswith((".", "?", "?)")) else "."
        return f"{message}{stop} See {_path(error)} --help."
    if isinstance(error, click.ClickException):
        return error.format_message()
    return _of_file(error) if isinstance(error, OSError) else str(error)


def _path(error: click.UsageError) -> str:
    return error.ctx.command_path if error.ctx else "bellmouth"


def _of_file(error: OSError) -> str:
    name = error.filename if isinstance(error.filename, str | bytes | os.PathLike) else None
    reason = (error.strerror or str(error)).lower()
    where = f"{os.fsdecode(name)}: " if name else ""
    return f"{where}{reason}. Check the name and that you may read or write it."


def _used(message: str, words: "Words") -> str:
    """What the command line says of its use, in the language."""
    if found := _MEANT.fullmatch(message):
        meant = words.text("Did you mean {0}?").format(found[2])
        return f"{_used(found[1], words)} {meant}"
    if found := _INVALID.fullmatch(message):
        return words.text("Value of {0}: {1}").format(found[1], _used(found[2], words))
    for pattern, text in _USAGE:
        if found := pattern.fullmatch(message):
            return words.text(text).format(*found.groups())
    return words.told(message)
