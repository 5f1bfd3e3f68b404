"""The coach with a car that shows what is done: start, cues and signals as they come, stop.

One page drives and says again and again that it is there; any other watches, and any may stop.
"""

import asyncio
import json
import time
from collections.abc import AsyncIterator
from typing import Annotated, Any

from fastapi import APIRouter, Body
from pydantic import BaseModel, Field
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse

from bellmouth.errors import BellmouthError
from bellmouth.learning.session import Session
from bellmouth.pages.site.coached import Coached, Wish
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.live import Practice
from bellmouth.pages.site.persons import by_person, keep_session, leads_for
from bellmouth.pages.site.rendering import words_of
from bellmouth.pages.site.stream import beat_of
from bellmouth.pages.site.view_coach import Ident, Person, lead_s, refuse

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

#: Progress is told so often where nothing happens, so that a dead connection is noticed. [s]
_STILL_S = 0.5
#: A browser whose connection broke comes back after this, while the page still waits. [ms]
_AGAIN = "retry: 500\n\n"


class Sitting(BaseModel):
    """A page that says that it drives, or takes over from another."""

    id: Ident
    take: bool = False


class Begin(BaseModel):
    """How an attempt is wanted. [ms]"""

    id: Ident
    quiet: bool = False
    lead_ms: Annotated[float, Field(allow_inf_nan=False)] | None = None
    person: Person = ""


class Spoilt(BaseModel):
    """Why the page that drives holds its attempt void."""

    id: Ident
    why: Annotated[str, Field(max_length=400)] = ""


@router.get("/car/{key}/learning/{name}/clock")
async def clock(key: str, name: str) -> dict[str, float]:
    """The server's monotonic clock, by which cues are told. [s]"""
    del key, name
    return {"now_s": time.monotonic()}


@router.post("/car/{key}/learning/{name}/seat")
def sit(request: Request, key: str, name: str, told: Annotated[Sitting, Body()]) -> Response:
    """Sit down to drive, or say that one still does; whether this page drives."""
    garage: Garage = request.app.state.garage
    garage.visit(key)
    procedure = garage.procedures.find(name)
    drives = garage.seats.sit(key, procedure.name, told.id, take=told.take)
    return JSONResponse({"drives": drives, "runs": _running(garage, key) is not None})


@router.post("/car/{key}/learning/{name}/seat/leave")
def leave(request: Request, key: str, name: str, told: Annotated[Sitting, Body()]) -> Response:
    """Get up; an attempt that is followed live is void by itself soon after."""
    del name
    garage: Garage = request.app.state.garage
    garage.seats.leave(key, told.id)
    return Response(status_code=204)


@router.post("/car/{key}/learning/{name}/live")
def begin(request: Request, key: str, name: str, told: Annotated[Begin, Body()]) -> Response:
    """Begin an attempt on the practice car, or on a real one whose manual was checked."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    procedure = garage.procedures.find(name)
    practice = garage.practice(key)
    refuse(procedure, checked=practice is not None or garage.checked(visit, name))
    adapter = garage.adapter(key)
    if adapter is None:
        raise BellmouthError("Nobody has said how this car is reached; go back to the procedure.")
    if not garage.seats.holds(key, told.id):
        raise BellmouthError("Another page drives this attempt. Take over there, or watch.")
    leads = leads_for(
        garage.attempts, procedure, told.person, lead_s(told.lead_ms), follows=True
    )  # fmt: skip

    def learn(session: Session, judgement: str) -> None:
        with garage.keeping:
            keep_session(
                garage.attempts, session, told.person, judgement, practice=practice is not None
            )

    wish = Wish(
        told.id, words_of(request), told.quiet, leads, lambda: garage.attended(key), learn,
        practice.tells if practice is not None else lambda _: True,
    )  # fmt: skip

    def make() -> Coached:
        if practice is not None:
            practice.sit_down()
        made = Coached(procedure, adapter, _keeper(garage, visit, told.person), wish)
        first = next((one for one in procedure.steps if one.cues), None)
        if practice is not None and first is not None and (first.who, first.do) == ("key", "on"):
            # It was on for the car to be asked; turning it on is what the procedure begins with.
            practice.car.do("key", 0.0)
        return made

    unmet = garage.attempt(key, told.id, make).unmet
    return JSONResponse({"unmet": unmet})


def _keeper(garage: Garage, visit: Visit, person: str) -> Any:
    def keep(document: dict[str, Any]) -> str:
        return garage.keep_attempt(visit.key, visit.name, by_person(document, person))

    return keep


@router.get("/car/{key}/learning/{name}/live")
async def follow(request: Request, key: str, name: str) -> Response:
    """Cues, progress, windows and signals as server-sent events."""
    garage: Garage = request.app.state.garage
    coached = garage.coached.get(key)
    if coached is None or coached.procedure.name != name:
        return Response(status_code=204)
    practice = garage.practices.get(key)
    return StreamingResponse(
        _told(request, coached, practice), media_type="text/event-stream",
        headers={"cache-control": "no-store"},
    )  # fmt: skip


async def _told(
    request: Request, coached: Coached, practice: Practice | None
) -> AsyncIterator[str]:
    """Events of one viewer, sent when something happened; whoever comes back goes on after the
    last cue and the last point that came."""
    viewer = _Viewer(coached, request.headers.get("last-event-id") or "")
    beat = beat_of(coached.pulse)
    beat.enter()
    try:
        yield _AGAIN
        while not await request.is_disconnected():
            # Looked at first: what comes while this is sent is another frame.
            over, frame = coached.over, beat.count
            seen = None if practice is None else await asyncio.to_thread(_seen, practice)
            yield viewer.event(seen)
            if over:
                return
            await beat.wait(_STILL_S, frame)
    finally:
        beat.leave()


#: What an event's identity counts: cues and points of the picture.
_COUNTS = 2


class _Viewer:
    """What one viewer has had of an attempt."""

    def __init__(self, coached: Coached, last: str) -> None:
        self._coached = coached
        had = [int(one) if one.isdecimal() else 0 for one in last[:40].split("-")]
        self._cues, self._points = had if len(had) == _COUNTS else (0, 0)
        self._windows: list[dict[str, Any]] | None = None

    def event(self, seen: dict[str, Any] | None) -> str:
        """What is new since, as one server-sent event."""
        coached = self._coached
        new = coached.cues[self._cues :]
        self._cues += len(new)
        self._points, trace = coached.trace.since(self._points)
        document: dict[str, Any] = {
            **coached.progress(), "id": coached.wish.ident, "now_s": time.monotonic(),
            "cues": new, "trace": trace,
        }  # fmt: skip
        windows = coached.windows()
        if windows != self._windows:
            document["windows"] = self._windows = windows
        if seen is not None:
            document["seen"] = seen
        return f"id: {self._cues}-{self._points}\ndata: {json.dumps(document)}\n\n"


def _seen(practice: Practice) -> dict[str, Any]:
    """What somebody in the practice car's seat sees."""
    seen = practice.car.seen()
    return {
        "lamp": seen.lamp, "running": seen.running, "rpm": round(seen.speed_rpm),
        "key": int(seen.key), "plate": seen.plate_heard,
    }  # fmt: skip


@router.get("/car/{key}/coached/{ident}")
def came(request: Request, key: str, ident: str) -> Response:
    """What came of an attempt, whatever became of the server: its address, empty for not yet."""
    garage: Garage = request.app.state.garage
    found = garage.visit(key).coached_as(ident)
    see = f"/car/{key}/attempt/{found.number}" if found is not None else ""
    return JSONResponse({"see": see, "runs": _running(garage, key) is not None})


@router.post("/car/{key}/learning/{name}/live/mark")
def mark(request: Request, key: str, name: str, told: Annotated[Sitting, Body()]) -> Response:
    """The person who drives saw or heard what is awaited."""
    garage: Garage = request.app.state.garage
    coached = _attempt(garage, key, name)
    if not garage.seats.holds(key, told.id):
        raise BellmouthError("Another page drives this attempt. Take over there, or watch.")
    coached.tapped()
    return Response(status_code=204)


@router.post("/car/{key}/learning/{name}/live/void")
def void(request: Request, key: str, name: str, told: Annotated[Spoilt, Body()]) -> Response:
    """The page that drives was hidden, or its device slept: nobody heard the cues."""
    garage: Garage = request.app.state.garage
    coached = _attempt(garage, key, name)
    if garage.seats.holds(key, told.id):
        coached.coach.void(told.why)
        garage.seats.leave(key, told.id)
    return Response(status_code=204)


@router.post("/car/{key}/learning/{name}/live/stop")
def stop(request: Request, key: str, name: str) -> Response:
    """The big stop; any page may."""
    _attempt(request.app.state.garage, key, name).coach.stop()
    return Response(status_code=204)


def _running(garage: Garage, key: str) -> Coached | None:
    coached = garage.coached.get(key)
    return coached if coached is not None and not coached.over else None


def _attempt(garage: Garage, key: str, name: str) -> Coached:
    coached = garage.coached.get(key)
    if coached is None or coached.procedure.name != name:
        raise BellmouthError("No attempt at this procedure is under way.")
    return coached
