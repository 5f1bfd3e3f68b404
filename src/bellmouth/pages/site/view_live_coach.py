"""The coach with a car that shows what is done: start, cues and signals as they come, stop."""

import asyncio
import json
import time
from collections.abc import AsyncIterator
from typing import Any

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from bellmouth.errors import BellmouthError
from bellmouth.pages.site.coached import Coached
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import words_of
from bellmouth.pages.site.view_coach import pack

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_EVERY_S = 0.05


@router.get("/car/{key}/learning/{name}/clock")
async def clock(key: str, name: str) -> dict[str, float]:
    """The server's monotonic clock, by which cues are told. [s]"""
    del key, name
    return {"now_s": time.monotonic()}


@router.post("/car/{key}/learning/{name}/live")
def begin(request: Request, key: str, name: str) -> Response:
    """Begin an attempt, or join the one that another tab began."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    procedure = pack(name)
    practice = garage.practice(key)
    if practice is None:
        raise BellmouthError("This is not a practice car, or the server was started anew.")

    def keep(document: dict[str, Any]) -> str:
        entry = garage.book.add(visit.name, "attempt", document)
        return f"/car/{key}/attempt/{entry.number}"

    def make() -> Coached:
        practice.sit_down()
        made = Coached(procedure, practice.adapter, keep, words=words_of(request))
        first = next((one for one in procedure.steps if one.cues), None)
        if first is not None and (first.who, first.do) == ("key", "on"):
            # It was on for the car to be asked; turning it on is what the procedure begins with.
            practice.car.do("key", 0.0)
        return made

    garage.attempt(key, name, make)
    return Response(status_code=204)


@router.get("/car/{key}/learning/{name}/live")
async def follow(request: Request, key: str, name: str) -> Response:
    """Cues, progress, the seat and the pedal as server-sent events."""
    garage: Garage = request.app.state.garage
    coached = garage.coached.get(key)
    practice = garage.practice(key)
    if coached is None or practice is None or coached.procedure.name != name:
        return Response(status_code=204)

    async def told() -> AsyncIterator[str]:
        cues = int(request.headers.get("last-event-id") or 0)
        pedal = 0
        while not await request.is_disconnected():
            over = coached.over
            new = coached.cues[cues:]
            trace = [one for one in list(coached.trace.pedal) if one[0] > pedal]
            document: dict[str, Any] = {**coached.progress(), "cues": new, "see": coached.see}
            document["trace"] = [[at, value] for _, at, value in trace]
            seen = await asyncio.to_thread(practice.car.seen)
            document["seen"] = {
                "lamp": seen.lamp, "running": seen.running, "rpm": round(seen.speed_rpm),
                "key": int(seen.key), "plate": seen.plate_heard,
            }  # fmt: skip
            cues += len(new)
            pedal = trace[-1][0] if trace else pedal
            yield f"id: {cues}\ndata: {json.dumps(document)}\n\n"
            if over:
                return
            await asyncio.sleep(_EVERY_S)

    return StreamingResponse(told(), media_type="text/event-stream")


@router.post("/car/{key}/learning/{name}/live/mark")
def mark(request: Request, key: str, name: str) -> Response:
    """The person saw or heard what is awaited."""
    _attempt(request, key, name).coach.mark()
    return Response(status_code=204)


@router.post("/car/{key}/learning/{name}/live/stop")
def stop(request: Request, key: str, name: str) -> Response:
    """The big stop."""
    _attempt(request, key, name).coach.stop()
    return Response(status_code=204)


def _attempt(request: Request, key: str, name: str) -> Coached:
    garage: Garage = request.app.state.garage
    coached = garage.coached.get(key)
    if coached is None or coached.procedure.name != name:
        raise BellmouthError("No attempt at this procedure is under way.")
    return coached
