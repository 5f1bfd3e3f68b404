"""A procedure on paper: its card, and the script that one person calls to another."""

from typing import Literal
from urllib.parse import urlsplit

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.pages.coach_card_html import coach_card_html, coach_script_html
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import light_of, sheet, words_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_MADE = {"card": coach_card_html, "script": coach_script_html}


@router.get("/known/procedure/{name}/{paper}.html")
def paper(request: Request, name: str, paper: Literal["card", "script"]) -> Response:
    """A page of its own, without scripts, to read or to print: no car is in it."""
    garage: Garage = request.app.state.garage
    found = garage.procedures.find(name)
    html = _MADE[paper](found, words_of(request), light_of(request))
    came_from = urlsplit(request.headers.get("referer") or "/known").path
    return sheet(request, html, "/" + came_from.lstrip("/\\"))
