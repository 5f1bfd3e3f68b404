"""The work: which, its job card, and what was done."""

from typing import Annotated, Literal

from fastapi import APIRouter, Form
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from bellmouth.errors import BellmouthError
from bellmouth.finding.result import Finding
from bellmouth.pages.card_html import card_html
from bellmouth.pages.card_pdf import card_pdf
from bellmouth.pages.card_view import CardPage, card_page
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.rendering import go, page, words_of
from bellmouth.work import make_card
from bellmouth.work.works import work_titles

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_GASKETS = ("new", "kept")


@router.get("/car/{key}/work")
def work(request: Request, key: str) -> Response:
    """Choose the work and read its card; what the finding calls for is proposed."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    card = _card(garage, visit, request)
    return page(
        request, "work.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "work"), "card": card,
            "works": work_titles(), "chosen": card.work_names, "query": request.url.query,
            "practice": garage.is_practice(key),
        },
    )  # fmt: skip


@router.get("/car/{key}/card")
def card(request: Request, key: str) -> Response:
    """The card as a page of its own, to read or to print."""
    garage: Garage = request.app.state.garage
    return HTMLResponse(card_html(_card(garage, garage.visit(key), request)))


@router.get("/car/{key}/card.pdf")
def card_sheet(request: Request, key: str, paper: Literal["a4", "letter"] = "a4") -> Response:
    """The card as one sheet of paper."""
    garage: Garage = request.app.state.garage
    sheet = card_pdf(_card(garage, garage.visit(key), request), paper)
    return Response(sheet, media_type="application/pdf")


@router.post("/car/{key}/done")
def done(
    request: Request,
    key: str,
    work: Annotated[list[str] | None, Form()] = None,
    by: Annotated[str, Form(max_length=80)] = "",
    gasket: Annotated[str, Form(max_length=10)] = "",
) -> Response:
    """Write down what was done, by whom and with which gasket; on a practice car it is done there,
    too."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    told = [one for one in work or [] if one in work_titles()] or ["nothing"]
    garage.book.add(visit.name, "work", {"done": told, **_said(told, by, gasket)})
    practice = garage.practice(key)
    if practice is not None:
        practice.mend(told)
        garage.remember(key)
    return go(f"/car/{key}/learning")


def _said(done: list[str], by: str, gasket: str) -> dict[str, str]:
    """Who did it, and what became of the throttle's gasket, where that was said."""
    if gasket and gasket not in _GASKETS:
        raise BellmouthError("A gasket is new or was kept.")
    if "renew_gasket" in done:
        if gasket == "kept":
            raise BellmouthError("A gasket that was renewed was not kept. Choose one of the two.")
        gasket = "new"
    said = {"by": " ".join(by.split()), "gasket": gasket}
    return {name: text for name, text in said.items() if text}


def _card(garage: Garage, visit: Visit, request: Request) -> CardPage:
    works = [one for one in request.query_params.getlist("work") if one in work_titles()]
    finding = None
    if visit.numbers("recording"):
        judged = garage.book.judge(visit.name, visit.numbers("recording")[0].number)
        finding = judged.result if isinstance(judged.result, Finding) else None
    torque = request.query_params.get("torque") or None
    section = request.query_params.get("section") or None
    made = make_card(visit.car, finding, works, torque=torque, manual_section=section)
    return card_page(made, words_of(request))
