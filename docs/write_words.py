"""Bring the catalogue of words in step with the texts: ``python docs/write_words.py``.

New texts appear untranslated in each language's ``.po``, texts that are gone leave it. Nothing is
guessed: a changed text is a new one. A test looks whether the files are stale.
"""

import io
from collections import Counter
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from bellmouth.pages.card_catalogue import LANGUAGES, messages

__all__ = ["catalogue_path", "po_text", "template", "updated"]

LOCALE = Path(__file__).parents[1] / "src" / "bellmouth" / "pages" / "locale"


def catalogue_path(language: str) -> Path:
    """Where a language's translations stand."""
    return LOCALE / language / "LC_MESSAGES" / "bellmouth.po"


def template() -> Catalog:
    """Every text that has to be translated, with the file that it comes from."""
    catalogue = Catalog(project="Bellmouth", header_comment="# Words of the job card.", fuzzy=False)
    for text, places in sorted(messages().items()):
        catalogue.add(text, locations=[(place, 0) for place in places])
    return catalogue


def updated(language: str) -> Catalog:
    """A language's catalogue with exactly the texts that there are."""
    with catalogue_path(language).open("rb") as text:
        held = read_po(text, locale=language)
    fresh = Catalog(
        locale=language, project="Bellmouth", header_comment="# Words of the job card.", fuzzy=False
    )
    for message in template():
        if message.id:
            kept = held.get(message.id)
            fresh.add(message.id, kept.string if kept else "", locations=message.locations)
    return fresh


def po_text(catalogue: Catalog) -> str:
    """A catalogue as the text of its file; without dates, so that it changes with its words."""
    found = io.BytesIO()
    write_po(found, catalogue, width=100, omit_header=False, include_lineno=False)
    lines = found.getvalue().decode("utf-8").splitlines()
    dated = ('"POT-Creation-Date', '"PO-Revision-Date', '"Generated-By', '"Last-Translator',
             '"Report-Msgid-Bugs-To', '"Language-Team')  # fmt: skip
    return "\n".join(line for line in lines if not line.startswith(dated)).rstrip() + "\n"


def main() -> None:
    """Write the template and each language's file; say what is not translated."""
    (LOCALE / "bellmouth.pot").write_text(po_text(template()), encoding="utf-8")
    for language in LANGUAGES[1:]:
        catalogue = updated(language)
        catalogue_path(language).write_text(po_text(catalogue), encoding="utf-8")
        kinds = Counter(bool(message.string) for message in catalogue if message.id)
        print(f"{language}: {kinds[True]} translated, {kinds[False]} not")


if __name__ == "__main__":
    main()
