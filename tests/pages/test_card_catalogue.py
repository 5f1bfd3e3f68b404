"""The catalogue of words: complete in every language, and in step with the texts."""

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

from bellmouth.car.complaint import COMPLAINTS
from bellmouth.finding.causes import CAUSES, called
from bellmouth.pages.card_catalogue import (
    LANGUAGES,
    default_language,
    labels,
    messages,
    translations,
)

TRANSLATED = LANGUAGES[1:]
_PLACE = re.compile(r"\{\w*\}")


@pytest.fixture(scope="module")
def writer(root: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location("write_words", root / "docs" / "write_words.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _catalogue(writer: ModuleType, language: str) -> Catalog:
    path: Path = writer.catalogue_path(language)
    with path.open("rb") as text:
        return read_po(text, locale=language, abort_invalid=True)


def test_english_and_one_more_language_are_there() -> None:
    assert LANGUAGES == ("en", "de")


def test_the_template_is_not_stale(writer: ModuleType) -> None:
    written = (writer.LOCALE / "bellmouth.pot").read_text("utf-8")
    assert written == writer.po_text(writer.template()), "run: python docs/write_words.py"


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_text_is_translated_and_none_is_left_over(writer: ModuleType, language: str) -> None:
    held = {message.id: message for message in _catalogue(writer, language) if message.id}
    assert set(held) == set(messages()), "run: python docs/write_words.py"
    assert [text for text, message in held.items() if not message.string or message.fuzzy] == []


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_places_to_fill_agree(writer: ModuleType, language: str) -> None:
    for message in _catalogue(writer, language):
        if message.id:
            places = sorted(_PLACE.findall(str(message.string)))
            assert places == sorted(_PLACE.findall(str(message.id))), message.id


@pytest.mark.parametrize("language", TRANSLATED)
def test_a_translation_ends_as_its_text_does(writer: ModuleType, language: str) -> None:
    for message in _catalogue(writer, language):
        if message.id and str(message.id)[-1] in ".:":
            assert str(message.string)[-1] == str(message.id)[-1], message.id


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_compiled_catalogue_says_what_the_file_says(writer: ModuleType, language: str) -> None:
    compiled = translations(language)
    for message in _catalogue(writer, language):
        if message.id:
            assert compiled.gettext(str(message.id)) == message.string


def test_english_is_the_texts_themselves() -> None:
    assert all(translations("en").gettext(text) == text for text in messages())


def test_every_cause_and_complaint_of_a_finding_has_words() -> None:
    assert {called(cause) for cause in CAUSES} <= set(messages())
    assert set(COMPLAINTS) <= set(messages())


def test_every_label_is_used(root: Path) -> None:
    pages = root / "src" / "bellmouth" / "pages"
    used = "".join(path.read_text("utf-8") for path in pages.glob("card_*.py"))
    used += (pages / "templates" / "card.html").read_text("utf-8")
    # These are chosen by a value of the card: metering, and the kind of a material.
    chosen = {"airflow", "pressure", "part", "consumable"}
    named = set(re.findall(r"""["'](\w+)["']|say\.(\w+)""", used))
    assert set(labels()) - chosen - {name for pair in named for name in pair} == set()


@pytest.mark.parametrize(
    ("environment", "language"),
    [
        ({}, "en"),
        ({"LANG": "C.UTF-8"}, "en"),
        ({"LANG": "de_DE.UTF-8"}, "de"),
        ({"LANG": "de"}, "de"),
        ({"LANG": "de_AT@euro", "LC_ALL": ""}, "de"),
        ({"LANG": "de_DE.UTF-8", "LC_ALL": "en_GB.UTF-8"}, "en"),
        ({"LANG": "en_US.UTF-8", "LC_MESSAGES": "de_CH.UTF-8"}, "de"),
        ({"LANG": "fr_FR.UTF-8"}, "en"),
    ],
)
def test_the_locale_chooses_the_language(environment: dict[str, str], language: str) -> None:
    assert default_language(environment) == language


def test_a_language_that_is_not_there_is_not_made_up() -> None:
    with pytest.raises(KeyError):
        translations("xx")
