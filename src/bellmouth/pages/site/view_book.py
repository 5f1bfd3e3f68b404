"""The car's book: every entry, and when it is next due."""

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.car import COMPLAINTS
from bellmouth.errors import BellmouthError
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import page, words_of
from bellmouth.pages.site.view_keeping import good_recordings

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/car/{key}/book")
def book(request: Request, key: str) -> Response:
    """The car's history."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    return page(
        request, "book.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "book"),
            "standing": garage.book.standing(visit.name), "complaints": COMPLAINTS,
            "forecast": garage.book.forecast(visit.name) is not None,
            "good": good_recordings(visit),
        },
    )  # fmt: skip


@router.get("/car/{key}/forecast.svg")
def forecast(request: Request, key: str) -> Response:
    """The car's history and where it is going, with its bands."""
    from bellmouth.pages.forecast_chart import chart  # noqa: PLC0415 - loads the drawing library

    garage: Garage = request.app.state.garage
    found = garage.book.forecast(garage.visit(key).name)
    if found is None:
        raise BellmouthError("Nothing can be forecast yet: it takes findings with the odometer.")
    return Response(chart(found, speak=words_of(request)), media_type="image/svg+xml")
