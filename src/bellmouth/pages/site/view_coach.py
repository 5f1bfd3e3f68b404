"""The coach on the page: the plan for the browser, and an attempt's taps on their way back."""

from typing import Annotated, Any

from fastapi import APIRouter, Body, Form
from pydantic import BaseModel, Field
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from bellmouth.errors import BellmouthError
from bellmouth.learning import find_procedure, judge, packs
from bellmouth.learning.packs import refuse_unchecked
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.session import leads_of
from bellmouth.pages.coach_words import COACH_WORDS
from bellmouth.pages.judgement import judgement_document
from bellmouth.pages.procedures import procedure_document
from bellmouth.pages.site.attempt_chart import attempt_svg
from bellmouth.pages.site.coach_plan import plan_document
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import go, page, words_of

__all__ = ["Tap", "Taps", "pack", "router"]

router = APIRouter(include_in_schema=False)

_Seconds = Annotated[float, Field(ge=0.0, le=1e6, allow_inf_nan=False)]


class Tap(BaseModel):
    """One tap: what it meant, and when on the audio clock and on the computer's. [s], [ms]"""

    means: Annotated[str, Field(max_length=80)]
    at_s: _Seconds
    performance_ms: float = 0.0
    audio_s: float = 0.0
    source: Annotated[str, Field(max_length=20)] = ""


class Taps(BaseModel):
    """An attempt as the browser tells it; ``phase`` is done, lost, stopped or void."""

    phase: Annotated[str, Field(pattern="^(done|lost|stopped|void)$")]
    why: Annotated[str, Field(max_length=400)] = ""
    taps: Annotated[list[Tap], Field(max_length=2000)] = []
    device: Annotated[dict[str, float], Field(max_length=20)] = {}


@router.post("/car/{key}/learning/{name}/coach")
def agreed(request: Request, key: str, name: str, manual: Annotated[str, Form()] = "") -> Response:
    """The manual was checked, or there is no coaching."""
    garage: Garage = request.app.state.garage
    garage.visit(key)
    procedure = pack(name)
    if key not in garage.practices:
        _refuse(procedure, checked=manual == "checked")
        garage.checked.add((key, name))
    return go(f"/car/{key}/learning/{name}/coach")


@router.get("/car/{key}/learning/{name}/coach")
def coach(request: Request, key: str, name: str) -> Response:
    """The coach."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    procedure = pack(name)
    practice = garage.is_practice(key)
    _refuse(procedure, checked=practice or (key, name) in garage.checked)
    return page(
        request, "coach.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "learning"), "practice": practice,
            "procedure": procedure_document(procedure), "words": COACH_WORDS,
            "drives": any(step.who == "road" for step in procedure.steps),
        },
    )  # fmt: skip


@router.get("/car/{key}/learning/{name}/plan")
def plan(
    request: Request, key: str, name: str, quiet: bool = False, lead_ms: float = 0.0
) -> dict[str, Any]:
    """The procedure's stretches and cues for the browser."""
    garage: Garage = request.app.state.garage
    procedure = pack(name)
    _refuse(procedure, checked=garage.is_practice(key) or (key, name) in garage.checked)
    lead_s = min(max(lead_ms, -500.0), 1000.0) / 1000.0
    return plan_document(
        procedure, leads_of(lead_s) if lead_s else None, quiet=quiet, words=words_of(request)
    )


@router.post("/car/{key}/learning/{name}/attempt")
def attempt(request: Request, key: str, name: str, told: Annotated[Taps, Body()]) -> Response:
    """Judge an attempt from its taps, and keep it with every tap."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    document = judgement_document(judge(None, pack(name), _marks(told.taps)))
    document["coached"] = told.model_dump()
    entry = garage.book.add(visit.name, "attempt", document)
    return JSONResponse({"see": f"/car/{key}/attempt/{entry.number}"})


@router.get("/car/{key}/attempt/{number}")
def seen(request: Request, key: str, number: int) -> Response:
    """An attempt's judgement: the time line, then step by step."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    kept = [one for one in visit.everywhere("attempt") if one.number == number]
    if not kept:
        raise BellmouthError("There is no such attempt in this car's book.")
    document = kept[0].document
    chosen = procedure_document(pack(str(document["procedure"])))
    speak = words_of(request)
    says = {step["name"]: speak.text(step["say"]) for step in chosen["steps"]}
    return page(
        request, "judgement.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "learning"), "judgement": document,
            "procedure": chosen, "picture": attempt_svg(document, says, speak), "says": says,
            "coached": document.get("coached"),
        },
    )  # fmt: skip


def pack(name: str) -> Procedure:
    """A shipped procedure by its name; a path is never one."""
    if name not in {one.name for one in packs()}:
        raise BellmouthError("There is no such procedure. Choose one from the list.")
    return find_procedure(name)


def _refuse(procedure: Procedure, *, checked: bool) -> None:
    try:
        refuse_unchecked(procedure, manual_checked=checked)
    except BellmouthError as error:
        raise BellmouthError(
            f'"{procedure.title}" is not coached until you say that the car\'s own manual was '
            "checked: tick it on the procedure's page."
        ) from error


def _marks(taps: list[Tap]) -> dict[str, object]:
    """Each meaning's times, in order. [s]"""
    found: dict[str, list[float]] = {}
    for tap in sorted(taps, key=lambda one: one.at_s):
        if tap.means:
            found.setdefault(tap.means, []).append(tap.at_s)
    return dict(found)
