"""The job card as one self-contained page: no script, nothing from a network."""

from importlib.resources import files
from pathlib import Path

from markupsafe import Markup

from bellmouth.pages.card_drawing import flange_svg
from bellmouth.pages.card_view import CardPage
from bellmouth.pages.templating import template

__all__ = ["card_html", "write_html"]


def card_html(page: CardPage) -> str:
    """The page as HTML, for a telephone and a desk, light and dark; it prints black on white."""
    style = files(__package__).joinpath("templates/card.css").read_text(encoding="utf-8")
    flanges = [
        (flange_svg(flange, title), title)
        for flange, title in zip(page.tightening, page.flange_titles, strict=True)
    ]
    return template("card.html").render(
        page=page,
        say=page.labels,
        style=Markup(style),  # noqa: S704 - our own file
        flanges=flanges,
    )


def write_html(path: Path, page: CardPage) -> None:
    """Write the page as one HTML file.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    path.write_text(card_html(page), encoding="utf-8")
