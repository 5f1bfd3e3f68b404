"""What the whole book says of the work itself: comebacks, and how far readings lie apart."""

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.book.comebacks import WITHIN_DAYS
from bellmouth.pages.book_counts_screen import FEW
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import page

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/counts")
def counts(
    request: Request,
    within: Annotated[int, Query(ge=1, le=3650)] = WITHIN_DAYS,
    before: Annotated[str, Query(pattern=r"^(\d{4}-\d{2}-\d{2})?$")] = "",
) -> Response:
    """Jobs that came back, by what was done and by whom; readings of one car by two people."""
    garage: Garage = request.app.state.garage
    found = garage.book.comebacks(within_days=within)
    groups = (
        ("By work", found.works), ("By learning procedure", found.procedures),
        ("By gasket", found.gaskets), ("By person", found.persons),
    )  # fmt: skip
    told = {
        "found": found, "groups": [one for one in groups if one[1]], "few": FEW,
        "spreads": garage.book.spreads(), "before": before,
        "due": garage.book.due(limit=50, before=before or None),
    }  # fmt: skip
    return page(request, "counts.html", told)
