"""Which procedures some work calls for, in order, without a car of the book."""

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.learning.packs import packs
from bellmouth.learning.plan import plan
from bellmouth.learning.procedure import WORK
from bellmouth.pages.site.rendering import page

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_MOST_TEXT = 200


@router.get("/procedures")
def procedures(request: Request) -> Response:
    """The form, and the plan of what was ticked: what is done, what is left out and why."""
    query = request.query_params
    chosen = [one for one in query.getlist("work") if one in WORK]
    names = [one.name for one in packs()]
    done = [one for one in query.getlist("done") if one in names]
    because = {name: why for name in names if (why := _reason(query.get(f"because-{name}", "")))}
    planned = plan(chosen, done=done, skipped=because) if chosen else ()
    return page(
        request, "plan.html",
        {"works": WORK, "chosen": chosen, "planned": planned, "done": done, "because": because},
    )  # fmt: skip


def _reason(text: str) -> str:
    return " ".join(text.split())[:_MOST_TEXT].rstrip(".")
