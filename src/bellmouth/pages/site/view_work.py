"""The work: which, its job card, and what was done."""

from typing import Annotated

from fastapi import APIRouter, Form
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import go, page

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_WORKS = ("clean_plate", "clean_meter", "reseal", "renew_gasket", "relearn")


@router.get("/car/{key}/work")
def work(request: Request, key: str) -> Response:
    """Choose the work and read its card."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    chosen = [one for one in request.query_params.getlist("work") if one in _WORKS]
    return page(
        request, "work.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "work"), "works": _WORKS,
            "chosen": chosen, "done": [w for one in visit.numbers("work")
                                       for w in one.document.get("done", [])],
        },
    )  # fmt: skip


@router.post("/car/{key}/work/done")
def done(request: Request, key: str, work: Annotated[list[str] | None, Form()] = None) -> Response:
    """Write down what was done."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    told = [one for one in work or [] if one in _WORKS] or ["nothing"]
    garage.book.add(visit.name, "work", {"done": told})
    return go(f"/car/{key}/learning")
