"""The car's book: every entry, and when it is next due."""

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.book.standing import known_of
from bellmouth.car import COMPLAINTS
from bellmouth.errors import BellmouthError
from bellmouth.finding.family import Family, family_in
from bellmouth.pages.plot_words import PLOT_WORDS
from bellmouth.pages.plots import plot_csv
from bellmouth.pages.site.families import family_of_job
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.forecast_shown import level_of, plot_of, shown
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.rendering import page, words_of
from bellmouth.pages.site.view_keeping import good_recordings

if TYPE_CHECKING:
    from bellmouth.book.forecast import Forecast

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_Asked = Annotated[str, Query(max_length=12)]
_NOTHING_YET = "Nothing can be forecast yet: it takes findings with the odometer."


@router.get("/car/{key}/book")
def book(request: Request, key: str, level: _Asked = "", family: _Asked = "") -> Response:
    """The car's history; its forecast by a level and an engine family of one's own."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    found = _forecast(request, visit, level, family)
    return page(
        request, "book.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "book"),
            "standing": garage.book.standing(visit.name), "complaints": COMPLAINTS,
            "forecast": None if found is None else shown(found, words_of(request), level, family),
            "jobs": visit.everywhere("job"), "plot_words": PLOT_WORDS,
            "good": good_recordings(visit),
            "numbered": bool(known_of(visit.entries).document.get("identification")),
            "families": {number: one.told for number, one in garage.families.all().items()},
        },
    )  # fmt: skip


def _forecast(request: Request, visit: Visit, level: str, family: str) -> "Forecast | None":
    garage: Garage = request.app.state.garage
    level_mm2 = level_of(level, words_of(request))
    return garage.book.forecast(
        visit.name, level_mm2=level_mm2, family=_family(garage, visit, family)
    )


def _family(garage: Garage, visit: Visit, asked: str) -> Family | None:
    """The family that was asked for; else that of the newest finding."""
    if asked.isdecimal():
        return garage.families.get(int(asked))
    told = None if asked == "none" else family_of_job(visit)
    return None if told is None else family_in(told["file"], "the engine family")


@router.get("/car/{key}/forecast.csv")
def forecast_csv(request: Request, key: str, level: _Asked = "", family: _Asked = "") -> Response:
    """What the picture of the forecast shows, as numbers."""
    garage: Garage = request.app.state.garage
    found = _forecast(request, garage.visit(key), level, family)
    if found is None:
        raise BellmouthError(_NOTHING_YET)
    speak = words_of(request)
    return Response(plot_csv(plot_of(found, speak), speak.told), media_type="text/csv")


@router.get("/car/{key}/forecast.svg")
def forecast(request: Request, key: str, level: _Asked = "", family: _Asked = "") -> Response:
    """The car's history and where it is going, with its bands."""
    from bellmouth.pages.forecast_chart import chart  # noqa: PLC0415 - loads the drawing library

    garage: Garage = request.app.state.garage
    found = _forecast(request, garage.visit(key), level, family)
    if found is None:
        raise BellmouthError(_NOTHING_YET)
    return Response(chart(found, speak=words_of(request)), media_type="image/svg+xml")
