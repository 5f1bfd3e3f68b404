"""The work: which, its job card, and what was done."""

from collections.abc import Collection
from dataclasses import replace
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Form
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from bellmouth.book.done import RELEARN, learned_since
from bellmouth.errors import BellmouthError, BookError
from bellmouth.finding.result import Finding
from bellmouth.pages.card_html import card_html
from bellmouth.pages.card_pdf import card_pdf
from bellmouth.pages.card_view import CardPage, card_document, card_page
from bellmouth.pages.card_words import Words
from bellmouth.pages.site.asked_card import AskedCard, asked_card, asked_in, card_of, flanges
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.rendering import called, go, moment, page, sheet, words_of
from bellmouth.pages.site.view_finding import asked_of, shown_finding
from bellmouth.work import Before
from bellmouth.work.works import work_reasons, work_titles

__all__ = ["done_said", "router"]

router = APIRouter(include_in_schema=False)

_GASKETS = ("new", "kept")


@router.get("/car/{key}/work")
def work(request: Request, key: str) -> Response:
    """Choose the work and read its card; what the finding calls for is proposed."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    asked = asked_card(request)
    # Without a finding, and with nothing chosen, there is nothing that a card could be of.
    finding, card = shown_finding(garage, visit), None
    if asked.works or finding is not None:
        card = _card_of(garage, visit, finding, asked, words_of(request))
        visit = garage.visit(key)  # its finding may have been kept just now
    return page(
        request, "work.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "work"), "card": card,
            "works": work_titles(), "reasons": work_reasons(),
            "chosen": card.work_names if card else (),
            "query": request.url.query, "torque": asked.torque, "section": asked.section,
            "practice": garage.is_practice(key), "flanges": flanges(card) if card else [],
            "bolts": asked.bolts, "learning": asked.learning, **_known(visit),
            "procedures_there": [one for one in garage.procedures.every() if one.does != "test"],
        },
    )  # fmt: skip


@router.get("/car/{key}/card")
def card(request: Request, key: str) -> Response:
    """The card as a page of its own, to read or to print."""
    garage: Garage = request.app.state.garage
    query = request.url.query
    back = f"/car/{key}/work" + (f"?{query}" if query else "")
    return sheet(request, card_html(_of(garage, key, request)), back)


@router.get("/car/{key}/card.pdf")
def card_sheet(request: Request, key: str, paper: Literal["a4", "letter"] = "a4") -> Response:
    """The card as one sheet of paper."""
    garage: Garage = request.app.state.garage
    sheet = card_pdf(_of(garage, key, request), paper)
    return Response(sheet, media_type="application/pdf")


@router.get("/car/{key}/card.json")
def card_data(request: Request, key: str) -> Response:
    """What the card shows, as data."""
    garage: Garage = request.app.state.garage
    return JSONResponse(card_document(_of(garage, key, request)))


@router.post("/car/{key}/card")
def keep_card(
    request: Request, key: str, asked: Annotated[str, Form(max_length=2000)] = ""
) -> Response:
    """Keep the card in the car's book, as it was asked for; ``asked`` is its address' query."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    made = _card(garage, visit, asked_in(QueryParams(asked)), words_of(request))
    kept = garage.book.add(visit.name, "card", card_document(made))
    return go(f"/car/{key}/entry/{kept.number}")


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
    told = done_said(work or (), by, gasket)
    garage.book.add(visit.name, "work", told)
    practice = garage.practice(key)
    if practice is not None:
        practice.mend(told["done"])
        garage.remember(key)
    return go(f"/car/{key}/learning")


def done_said(work: Collection[str], by: str, gasket: str) -> dict[str, Any]:
    """A piece of work as the book keeps it: what was done, by whom and with which gasket.

    Raises
    ------
    BellmouthError
        If nothing is told, nothing beside a work, or the gasket cannot have been what it is said to
        be.
    """
    if not work:
        raise BellmouthError("Tick what was done, or that nothing was.")
    if "nothing" in work and len(work) > 1:
        raise BellmouthError("Something was done and nothing was: untick one of the two.")
    told = [one for one in work if one in work_titles()] or ["nothing"]
    return {"done": told, **_said(told, by, gasket)}


def _known(visit: Visit) -> dict[str, Any]:
    """What the book says was done in this job: works written down, and how the idle was learned
    since the last of them."""
    learned = learned_since(visit.here)
    written = {work for one in visit.numbers("work") for work in one.document["done"]}
    return {
        "written": [title for name, title in work_titles().items() if name in written],
        "learned": learned, "relearn": RELEARN,
        "tick": {RELEARN} - written if learned else (),
    }  # fmt: skip


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


def _of(garage: Garage, key: str, request: Request) -> CardPage:
    return _card(garage, garage.visit(key), asked_card(request), words_of(request))


def _card(garage: Garage, visit: Visit, asked: AskedCard, speak: Words) -> CardPage:
    return _card_of(garage, visit, shown_finding(garage, visit), asked, speak)


def _card_of(
    garage: Garage, visit: Visit, finding: Finding | None, asked: AskedCard, speak: Words
) -> CardPage:
    before = _before(garage, visit.key, speak) if finding is not None else None
    # On paper nothing else says which of the shop's cars it is for.
    car = replace(visit.car, name=visit.car.name or called(visit.name, speak))
    return card_page(card_of(garage, car, finding, asked, before), speak)


def _before(garage: Garage, key: str, speak: Words) -> Before | None:
    """The recording that the job's finding is of, called by its entry as the page calls them all;
    looked up anew, as the finding may be kept only now."""
    visit = garage.visit(key)
    number = asked_of(visit).get("recording")
    entry = next((one for one in visit.numbers("recording") if one.number == number), None)
    if entry is None:
        return None
    name = speak.text("Entry {n}").format(n=entry.number)
    try:
        read = garage.book.recording(visit.name, entry.number)
    except BookError:
        return None  # its file is lost; the finding was kept
    return Before.of(replace(read, source=f"{name}, {moment(entry.made_at)}"))
