"""Learning: which procedures, coaching them, and judging how it went."""

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import page

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/car/{key}/learning")
def learning(request: Request, key: str) -> Response:
    """The procedures that this job needs."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    return page(
        request, "learning.html", {"visit": visit, "stages": stages_of(visit.here, "learning")}
    )
