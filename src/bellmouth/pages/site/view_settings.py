"""What a reader chooses: language and units."""

from typing import Annotated
from urllib.parse import parse_qsl, urlencode, urlsplit

from fastapi import APIRouter, Form
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.pages.card_catalogue import LANGUAGES
from bellmouth.pages.site.rendering import LANGUAGE, UNITS, go, words_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_YEAR_S = 365 * 24 * 3600
#: What a page is asked for in the reader's units: the deposit of a forecast.
_QUANTITIES = ("level",)


@router.post("/settings")
def settings(
    request: Request, language: Annotated[str, Form()], units: Annotated[str, Form()]
) -> Response:
    """Keep the choice in this browser, and go back to where it was made."""
    # Only what the page that asked is called on this server: an answer never leads elsewhere. What
    # was chosen or read there stands behind its question mark.
    try:
        asked = urlsplit(request.headers.get("referer") or "/")
    except ValueError:  # a host in brackets that is none
        asked = urlsplit("/")
    query = _without_quantities(asked.query) if units != words_of(request).units else asked.query
    back = asked.path + (f"?{query}" if query else "")
    answer = go(back if back.startswith("/") and not back.startswith("//") else "/")
    chosen = {
        LANGUAGE: language if language in LANGUAGES else "en",
        UNITS: "us" if units == "us" else "metric",
    }
    for name, value in chosen.items():
        answer.set_cookie(name, value, max_age=_YEAR_S, httponly=True, samesite="strict")
    return answer


def _without_quantities(query: str) -> str:
    """A query without what was asked in other units."""
    return urlencode([(name, text) for name, text in parse_qsl(query) if name not in _QUANTITIES])
