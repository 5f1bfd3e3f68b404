"""Pairing: the picture for another device, and the device's own side of it."""

from typing import Annotated

from fastapi import APIRouter, Form
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.pages.site.guard import COOKIE, Settings
from bellmouth.pages.site.pairing import new_code, pair_address, picture, spend
from bellmouth.pages.site.rendering import go, page

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_YEAR_S = 365 * 24 * 3600


@router.get("/pair")
def pair(request: Request, code: str = "") -> Response:
    """With a code: a button that pairs. Without one, on a paired browser: a picture with a code."""
    settings: Settings = request.app.state.settings
    if code or settings.token is None or request.cookies.get(COOKIE) != settings.token:
        alone = settings.token is None
        told = {"code": "" if alone else code, "picture": "", "address": "", "alone": alone}
        return page(request, "pair.html", told)
    address = pair_address(settings, new_code(settings))
    told = {"code": "", "picture": picture(address), "address": address}
    return page(request, "pair.html", told)


@router.post("/pair")
def paired(request: Request, code: Annotated[str, Form()]) -> Response:
    """Spend the code: this browser is known from now on."""
    settings: Settings = request.app.state.settings
    if settings.token is None or not spend(settings, code):
        told = {"sentence": "This code was used or is not one. Have a new picture shown.",
                "back": "/pair"}  # fmt: skip
        return page(request, "sorry.html", told, 403)
    answer = go("/")
    answer.set_cookie(
        COOKIE, settings.token, max_age=_YEAR_S, httponly=True, samesite="strict", path="/"
    )
    return answer
