"""The catalogue of words: which texts there are, and each language's translation of them.

The English text is the key. A language is one ``.po`` file under ``locale``; it is compiled in
memory at first use, so a checkout and an installed package work alike. ``docs/write_words.py``
keeps the files in step with the texts.
"""

import functools
import io
import os
import tomllib
from collections.abc import Mapping
from gettext import GNUTranslations, NullTranslations
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog

__all__ = [
    "LANGUAGES", "catalogue", "default_language", "labels", "messages", "translations",
]  # fmt: skip

#: Languages that are complete. English is the language of the keys.
LANGUAGES = ("en", "de")
_CAUSES = (
    "healthy", "leak", "meter low", "meter high", "fuel low", "fuel high", "deposit",
    "computed air low", "computed air high",
    "stale learning", "pressure low", "pressure high", "boost low", "boost high", "unexplained",
)  # fmt: skip
_COMPLAINTS = (
    "unknown", "none", "rough idle", "low idle", "high idle", "hunting idle", "stalls",
    "sticking plate", "lamp or lean code", "after cleaning", "after a battery change",
)  # fmt: skip


def default_language(environment: Mapping[str, str] | None = None) -> str:
    """The language of the locale where it is one of ours, else English."""
    values = os.environ if environment is None else environment
    for name in ("LC_ALL", "LC_MESSAGES", "LANG"):
        if value := values.get(name):
            wanted = value.replace("-", "_").split("_")[0].split(".")[0].lower()
            return wanted if wanted in LANGUAGES else "en"
    return "en"


@functools.cache
def labels() -> Mapping[str, str]:
    """The card's fixed words in English, by name."""
    text = files(__package__).joinpath("card_labels.toml").read_text(encoding="utf-8")
    return {name: str(value) for name, value in tomllib.loads(text).items()}


def messages() -> dict[str, list[str]]:
    """Every text that a card, the page at the car or a terminal can show, with where it comes
    from."""
    # Only whoever writes the catalogue reads all of its sources; a command reads the .po file.
    from bellmouth.pages.sentences import sentences  # noqa: PLC0415
    from bellmouth.pages.site_words import site_texts  # noqa: PLC0415
    from bellmouth.work.content import content_texts  # noqa: PLC0415
    from bellmouth.work.learning_rows import learning_texts  # noqa: PLC0415

    found: dict[str, list[str]] = {}
    sources = [
        *(("card_labels.toml", text) for text in labels().values()),
        *content_texts(),
        *learning_texts(),
        *site_texts(),
        *sentences(),
        *(("causes", text) for text in _CAUSES),
        *(("complaints", text) for text in _COMPLAINTS),
    ]
    for source, text in sources:
        places = found.setdefault(text, [])
        if source not in places:
            places.append(source)
    return found


@functools.cache
def translations(language: str) -> NullTranslations:
    """The translation into a language; English is the keys themselves.

    Raises
    ------
    KeyError
        For a language that is not in ``LANGUAGES``.
    """
    if language not in LANGUAGES:
        raise KeyError(language)
    if language == "en":
        return NullTranslations()
    from babel.messages.mofile import write_mo  # noqa: PLC0415 - English needs neither

    compiled = io.BytesIO()
    write_mo(compiled, _held(language))
    compiled.seek(0)
    return GNUTranslations(compiled)


@functools.cache
def catalogue(language: str) -> Mapping[str, str]:
    """Every English text of the catalogue with its translation; English is the keys themselves."""
    if language == "en":
        return {english: english for english in catalogue(LANGUAGES[1])}
    return {str(one.id): str(one.string or one.id) for one in _held(language) if one.id}


@functools.cache
def _held(language: str) -> "Catalog":
    from babel.messages.pofile import read_po  # noqa: PLC0415 - English needs none

    path = files(__package__) / "locale" / language / "LC_MESSAGES" / "bellmouth.po"
    with path.open("rb") as text:
        return read_po(text, locale=language)
