"""Which procedures some work calls for, in order, without a car of the book."""

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.learning.plan import plan
from bellmouth.learning.procedure import WORK
from bellmouth.pages.site.rendering import page

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/procedures")
def procedures(request: Request) -> Response:
    """The form, and the plan of what was ticked."""
    chosen = [one for one in request.query_params.getlist("work") if one in WORK]
    planned = plan(chosen) if chosen else ()
    return page(request, "plan.html", {"works": WORK, "chosen": chosen, "planned": planned})
