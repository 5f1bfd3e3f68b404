"""The coach on the page: the plan for the browser, and an attempt's taps on their way back."""

import math
from contextlib import suppress
from typing import Annotated, Any

from fastapi import APIRouter, Body, Form
from pydantic import BaseModel, Field
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from bellmouth.errors import BellmouthError, ProcedureError
from bellmouth.learning import judge
from bellmouth.learning.packs import refuse_unchecked
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.schedule import Kind
from bellmouth.learning.session import leads_of
from bellmouth.pages.coach_words import COACH_WORDS
from bellmouth.pages.judgement import judgement_document
from bellmouth.pages.procedures import procedure_document
from bellmouth.pages.site.attempt_chart import attempt_svg
from bellmouth.pages.site.coach_plan import plan_document
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.persons import by_person, keep_taps, leads_for, tap_timing
from bellmouth.pages.site.rendering import go, page, words_of
from bellmouth.pages.site.spoiled import spoiled
from bellmouth.pages.site.typed import count_of

__all__ = ["Ident", "Person", "Tap", "Taps", "lead_s", "refuse", "router"]

router = APIRouter(include_in_schema=False)

#: A page's own mark of an attempt, so that one sent twice is kept once.
Ident = Annotated[str, Field(pattern="^[0-9a-f]{16,64}$")]
#: Whose attempt it is: a name or a number, or nobody's in particular.
Person = Annotated[str, Field(max_length=80)]
_Seconds = Annotated[float, Field(ge=0.0, le=1e6, allow_inf_nan=False)]


class Tap(BaseModel):
    """One tap: what it meant, and when on the audio clock and on the computer's. [s], [ms]

    Of an action it says which it is, and when it was called. [s]
    """

    means: Annotated[str, Field(max_length=80)]
    at_s: _Seconds
    step: Annotated[str, Field(max_length=80)] = ""
    kind: Kind | None = None
    number: Annotated[int, Field(ge=0, le=1000)] = 0
    cued_s: _Seconds | None = None
    performance_ms: float = 0.0
    audio_s: float = 0.0
    source: Annotated[str, Field(max_length=20)] = ""


class Taps(BaseModel):
    """An attempt as the browser tells it; ``phase`` is done, lost, stopped or void.

    ``watched_s`` is up to when the person was at it and tapped whatever was done. [s]
    """

    id: Ident
    phase: Annotated[str, Field(pattern="^(done|lost|stopped|void)$")]
    why: Annotated[str, Field(max_length=400)] = ""
    taps: Annotated[list[Tap], Field(max_length=2000)] = []
    watched_s: _Seconds | None = None
    person: Person = ""
    device: Annotated[dict[str, float], Field(max_length=20)] = {}


@router.post("/car/{key}/learning/{name}/coach")
def agreed(
    request: Request,
    key: str,
    name: str,
    manual: Annotated[str, Form()] = "",
    how: Annotated[str, Form()] = "taps",
    interface: Annotated[str, Form()] = "",
    channel: Annotated[str, Form()] = "",
    bitrate: Annotated[str, Form(max_length=9)] = "",
) -> Response:
    """The manual was checked, or there is no coaching; and whether the car is followed live."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    procedure = garage.procedures.find(name)
    if garage.is_practice(key):
        return go(f"/car/{key}/learning/{name}/coach")
    refuse(procedure, checked=manual == "checked")
    garage.check(visit, name)
    if how != "car":
        return go(f"/car/{key}/learning/{name}/coach")
    garage.named(key, interface, channel, count_of(bitrate, "Bit rate"))
    return go(f"/car/{key}/learning/{name}/coach?follow=car")


@router.get("/car/{key}/learning/{name}/coach")
def coach(request: Request, key: str, name: str, follow: str = "") -> Response:
    """The coach."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    procedure = garage.procedures.find(name)
    practice = garage.is_practice(key)
    refuse(procedure, checked=practice or garage.checked(visit, name))
    return page(
        request, "coach.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "learning"), "practice": practice,
            "live": "practice" if practice else "car" if follow == "car" else "",
            "procedure": procedure_document(procedure), "words": COACH_WORDS,
            "drives": any(step.who == "road" for step in procedure.steps),
            "taps": not practice or _is_listened_for(procedure),
            "runs": garage.coaches(key, name), "key_first": _begins_with_key_on(procedure),
        },
    )  # fmt: skip


def _is_listened_for(procedure: Procedure) -> bool:
    """Whether something is awaited that only an ear can tell of."""
    return any(step.until and step.until.event == "plate_moves" for step in procedure.steps)


def _begins_with_key_on(procedure: Procedure) -> bool:
    first = next((one for one in procedure.steps if one.cues), None)
    return first is not None and (first.who, first.do) == ("key", "on")


@router.get("/car/{key}/learning/{name}/plan")
def plan(
    request: Request,
    key: str,
    name: str,
    quiet: bool = False,
    lead_ms: float | None = None,
    person: Person = "",
) -> dict[str, Any]:
    """The procedure's stretches and cues for the browser; without a lead, as suits the person."""
    garage: Garage = request.app.state.garage
    procedure = garage.procedures.find(name)
    visit = garage.visit(key)
    refuse(procedure, checked=garage.is_practice(key) or garage.checked(visit, name))
    leads = leads_for(garage.attempts, procedure, person, lead_s(lead_ms), follows=False)
    return plan_document(procedure, leads, quiet=quiet, words=words_of(request))


def lead_s(lead_ms: float | None) -> float | None:
    """By how much the person wants to be called earlier, within reason; None for not told. [s]"""
    if lead_ms is None:
        return None
    return min(max(lead_ms, -500.0), 1000.0) / 1000.0 if math.isfinite(lead_ms) else 0.0


@router.post("/car/{key}/learning/{name}/attempt")
def attempt(request: Request, key: str, name: str, told: Annotated[Taps, Body()]) -> Response:
    """Judge an attempt from its taps, and keep it with every tap; sent again, it is kept once."""
    garage: Garage = request.app.state.garage
    with garage.keeping:
        visit = garage.visit(key)
        there = visit.coached_as(told.id)
        if there is None:
            procedure = garage.procedures.find(name)
            document = judgement_document(judge(None, procedure, _marks(told)))
            document["coached"] = told.model_dump(exclude={"person"})
            there = garage.book.add(
                visit.name, "attempt", by_person(spoiled(document), told.person)
            )
            _learn_of(garage, key, procedure, told, str(document["judgement"]))
    garage.seats.leave(key, told.id)
    return JSONResponse({"see": f"/car/{key}/attempt/{there.number}"})


@router.get("/car/{key}/attempt/{number}")
def seen(request: Request, key: str, number: int) -> Response:
    """An attempt's judgement: the time line, then step by step."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    kept = [one for one in visit.everywhere("attempt") if one.number == number]
    if not kept:
        raise BellmouthError("There is no such attempt in this car's book.")
    document = kept[0].document
    chosen = procedure_document(garage.procedures.find(str(document["procedure"])))
    speak = words_of(request)
    procedure = garage.procedures.find(str(document["procedure"]))
    says = {
        **{name: speak.told(procedure.event_words(name)) for name in procedure.every_event()},
        **{step["name"]: speak.told(step["say"]) for step in chosen["steps"]},
    }
    return page(
        request, "judgement.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "learning"), "judgement": document,
            "read": speak.told,
            "procedure": chosen, "picture": attempt_svg(document, says, speak), "says": says,
            "coached": document.get("coached"), "by": document.get("by", ""),
        },
    )  # fmt: skip


def _learn_of(garage: Garage, key: str, procedure: Procedure, told: Taps, judgement: str) -> None:
    """Keep what the taps tell of whoever made them."""
    timings, marks = [], dict[str, list[float]]()
    for tap in sorted(told.taps, key=lambda one: one.at_s):
        if tap.kind is None:
            marks.setdefault(tap.means, []).append(tap.at_s)
        elif tap.cued_s is not None:
            timings.append(tap_timing(tap.step, tap.kind, tap.number, tap.cued_s, tap.at_s))
    marks.pop("", None)
    lead_ms = told.device.get("lead_ms")
    leads = leads_of(lead_ms / 1000.0) if lead_ms and math.isfinite(lead_ms) else {}
    # The attempt itself is in the book by now: a full disk here takes nothing away from it.
    with suppress(ProcedureError):
        keep_taps(
            garage.attempts, procedure, told.person, told.phase, judgement, timings, marks, leads,
            practice=garage.is_practice(key),
        )  # fmt: skip


def refuse(procedure: Procedure, *, checked: bool) -> None:
    """Refuse to coach where nobody has checked the car's own manual.

    Raises
    ------
    BellmouthError
        In plain words for the page.
    """
    try:
        refuse_unchecked(procedure, manual_checked=checked)
    except BellmouthError as error:
        raise BellmouthError(
            f'"{procedure.title}" is not coached until you say that the car\'s own manual was '
            "checked: tick it on the procedure's page."
        ) from error


def _marks(told: Taps) -> dict[str, object]:
    """Each meaning's times, in order, and up to when somebody watched. [s]"""
    found: dict[str, list[float]] = {}
    for tap in sorted(told.taps, key=lambda one: one.at_s):
        if tap.means:
            found.setdefault(tap.means, []).append(tap.at_s)
    until = {"watched_until": told.watched_s} if found and told.watched_s is not None else {}
    return {**found, **until}
