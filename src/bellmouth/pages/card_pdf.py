"""The job card as one sheet of paper: set as large as fits on one side."""

import functools
import logging
from importlib import import_module
from pathlib import Path
from typing import Any, Literal

from bellmouth.pages.card_html import card_html
from bellmouth.pages.card_view import CardPage
from bellmouth.work.works import WorkError

__all__ = ["PAPERS", "Paper", "card_pdf", "write_pdf"]

Paper = Literal["a4", "letter"]

#: Paper sizes as a style sheet names them.
PAPERS: dict[Paper, str] = {"a4": "A4", "letter": "Letter"}
# Sizes of type that are tried, largest first. [pt]
_SIZES_PT = (9.0, 8.0, 7.2, 6.6, 6.2, 5.8, 5.5)


def card_pdf(page: CardPage, paper: Paper = "a4") -> bytes:
    """The card as a PDF of one page, in the largest type that fits.

    Raises
    ------
    WorkError
        Where it does not fit in the smallest type: too many procedures of the user's.
    """
    html = card_html(page)
    low, high = 0, len(_SIZES_PT) - 1
    found = None
    while low <= high:
        middle = (low + high) // 2
        document = _set(html, paper, _SIZES_PT[middle])
        if len(document.pages) == 1:
            found, high = document, middle - 1
        else:
            low = middle + 1
    if found is None:
        raise WorkError(
            f"The card does not fit on one page of {PAPERS[paper]} in type that can be read. Put "
            "fewer learning procedures on it, or write a page with --html."
        )
    pdf: bytes = found.write_pdf()
    return pdf


def _set(html: str, paper: Paper, size_pt: float) -> Any:
    library = _library()
    style = f"@page {{ size: {PAPERS[paper]} }} html {{ font-size: {size_pt}pt !important }}"
    sheet = library.CSS(string=style)
    return library.HTML(string=html).render(stylesheets=[sheet], font_config=_fonts())


def _library() -> Any:
    """The setter of pages, loaded when the first sheet is set."""
    try:
        library = import_module("weasyprint")
    except OSError as error:
        raise WorkError(
            "A PDF cannot be set on this machine: the text library Pango is missing. Install it, "
            "or write a page with --html and print it from a browser."
        ) from error
    # It reports each rule for the screen that paper does not know.
    logging.getLogger("weasyprint").setLevel(logging.ERROR)
    return library


@functools.cache
def _fonts() -> Any:
    """The fonts of this machine, looked through once."""
    return import_module("weasyprint.text.fonts").FontConfiguration()


def write_pdf(path: Path, page: CardPage, paper: Paper = "a4") -> None:
    """Write the sheet; nothing is written where it cannot be set.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    path.write_bytes(card_pdf(page, paper))
