"""The car's book: every entry, and when it is next due."""

from typing import Any

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.car import COMPLAINTS
from bellmouth.errors import BellmouthError
from bellmouth.finding.family import Family, family_in
from bellmouth.pages.card_words import Words
from bellmouth.pages.forecast_plots import forecast_plot
from bellmouth.pages.plot_words import PLOT_WORDS
from bellmouth.pages.plots import Plot, plot_csv, plot_in, plot_json, plot_rows
from bellmouth.pages.site.families import family_of_job
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.rendering import page, words_of
from bellmouth.pages.site.view_keeping import good_recordings

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_KM_PER_MILE = 1.609344
_NOTHING_YET = "Nothing can be forecast yet: it takes findings with the odometer."


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
            "forecast": _shown(garage, visit, words_of(request)), "plot_words": PLOT_WORDS,
            "good": good_recordings(visit),
        },
    )  # fmt: skip


def _family(visit: Visit) -> Family | None:
    """The family that the newest finding was made with: how fast its like get dirty."""
    told = family_of_job(visit)
    return None if told is None else family_in(told["file"], "the engine family")


def _plot(garage: Garage, visit: Visit, speak: Words) -> Plot | None:
    found = garage.book.forecast(visit.name, family=_family(visit))
    if found is None:
        return None
    unit = speak.unit("km")
    km = _KM_PER_MILE if unit == "mi" else 1.0
    return plot_in(forecast_plot(found, speak.told, unit=unit, km=km), speak)


def _shown(garage: Garage, visit: Visit, speak: Words) -> dict[str, Any] | None:
    """The forecast as its picture's data and as a table."""
    plot = _plot(garage, visit, speak)
    if plot is None:
        return None
    head, rows = plot_rows(plot, speak.told)
    return {"plot": plot_json(plot), "head": head, "rows": rows}


@router.get("/car/{key}/forecast.csv")
def forecast_csv(request: Request, key: str) -> Response:
    """What the picture of the forecast shows, as numbers."""
    garage: Garage = request.app.state.garage
    speak = words_of(request)
    plot = _plot(garage, garage.visit(key), speak)
    if plot is None:
        raise BellmouthError(_NOTHING_YET)
    return Response(plot_csv(plot, speak.told), media_type="text/csv")


@router.get("/car/{key}/forecast.svg")
def forecast(request: Request, key: str) -> Response:
    """The car's history and where it is going, with its bands."""
    from bellmouth.pages.forecast_chart import chart  # noqa: PLC0415 - loads the drawing library

    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    found = garage.book.forecast(visit.name, family=_family(visit))
    if found is None:
        raise BellmouthError(_NOTHING_YET)
    return Response(chart(found, speak=words_of(request)), media_type="image/svg+xml")
