"""Templates and answers of the page."""

from collections.abc import Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse

from bellmouth import __version__
from bellmouth.pages.report import template_environment
from bellmouth.pages.site.flow import key_of
from bellmouth.pages.words import SAFETY, chance, interval_words, name_words

__all__ = ["go", "page"]

_templates = template_environment()
_templates.filters["key"] = key_of
_templates.filters["chance"] = chance
_templates.filters["cause"] = name_words
_templates.filters["interval"] = interval_words


def page(
    request: Request, template: str, told: Mapping[str, Any], status: int = 200
) -> HTMLResponse:
    """Render a template of ``templates/site``."""
    whole = {"version": __version__, "safety": SAFETY, "path": request.url.path, **told}
    html = _templates.get_template(f"site/{template}").render(whole)
    return HTMLResponse(html, status)


def go(address: str) -> RedirectResponse:
    """After a form: see another page; the browser's back button does not send it again."""
    return RedirectResponse(address, 303)
