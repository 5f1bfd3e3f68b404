"""What a reader chooses: language and units."""

from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Form
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.pages.card_catalogue import LANGUAGES
from bellmouth.pages.site.rendering import LANGUAGE, UNITS, go

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_YEAR_S = 365 * 24 * 3600


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
    back = asked.path + (f"?{asked.query}" if asked.query else "")
    answer = go(back if back.startswith("/") and not back.startswith("//") else "/")
    chosen = {
        LANGUAGE: language if language in LANGUAGES else "en",
        UNITS: "us" if units == "us" else "metric",
    }
    for name, value in chosen.items():
        answer.set_cookie(name, value, max_age=_YEAR_S, httponly=True, samesite="strict")
    return answer
