"""How likely somebody's next attempt at a procedure is to pass, and which step to practise."""

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.pages.coach_chances import chances_view
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.persons import foretold, named
from bellmouth.pages.site.rendering import page, words_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/car/{key}/learning/{name}/chances")
def chances(
    request: Request, key: str, name: str, person: Annotated[str, Query(max_length=80)] = ""
) -> Response:
    """The chance with its range, what to practise, whether to be called earlier, and the habits."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    procedure = garage.procedures.find(name)
    timing, prediction = foretold(garage.attempts, procedure, person, None)
    return page(
        request, "chances.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "learning"), "procedure": procedure,
            "person": named(person),
            "shown": chances_view(procedure, timing, prediction, words_of(request)),
        },
    )  # fmt: skip
