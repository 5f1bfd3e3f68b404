"""Recording: a file, or the car itself, with what to do now and how far it has got."""

import tempfile
from collections.abc import Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from bellmouth.book.done import learned_since
from bellmouth.book.entries import Entry
from bellmouth.errors import BellmouthError
from bellmouth.pages.coach_words import LIVE_WORDS
from bellmouth.pages.site.corrections import turn_loads
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.live import Live
from bellmouth.pages.site.rendering import go, page
from bellmouth.pages.site.stream import EventStream
from bellmouth.pages.site.typed import controller_of, count_of
from bellmouth.pages.site.uploads import kept_mapping, kept_upload
from bellmouth.recording.readers import journal_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/car/{key}/record")
def record(request: Request, key: str) -> Response:
    """The recording's page."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    live = garage.captures.get(key)
    return page(
        request, "record.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "record"),
            "practice": garage.is_practice(key),
            "speeds": _speeds() if live is not None else (),
            "live": live.state if live is not None else None,
            "which": live.traces.token if live is not None else "",
            "words": LIVE_WORDS, "adapter": garage.reached(key),
            "recordings": visit.numbers("recording"), "after": _after_work(visit),
            "left": [(one.name, at) for one in garage.left(key) if (at := _begun(one))],
        },
    )  # fmt: skip


@router.post("/car/{key}/record/file")
async def from_file(
    request: Request,
    key: str,
    file: UploadFile,
    by: Annotated[str, Form(max_length=80)] = "",
    mapping: UploadFile | None = None,
    controller: Annotated[str, Form(max_length=20)] = "",
    loads_off: Annotated[str, Form(max_length=9)] = "",
) -> Response:
    """Take a file's recording into the book; sent again with another tick, it is corrected."""
    garage: Garage = request.app.state.garage
    visit = await run_in_threadpool(garage.visit, key)
    address = controller_of(controller)
    with tempfile.TemporaryDirectory() as folder:
        path = await kept_upload(file, Path(folder))
        named = await kept_mapping(mapping, Path(folder))
        same = await run_in_threadpool(
            lambda: garage.add_recording(
                visit,
                path,
                by.strip() or None,
                loads_off=bool(loads_off),
                mapping=named,
                controller=address,
            )
        )
    if same is not None:
        await run_in_threadpool(turn_loads, garage, visit, same, by.strip())
    return _judged(visit)


@router.post("/car/{key}/record/live")
def live(
    request: Request,
    key: str,
    interface: Annotated[str, Form()] = "",
    channel: Annotated[str, Form()] = "",
    bitrate: Annotated[str, Form(max_length=9)] = "",
    seconds: Annotated[str, Form(max_length=9)] = "",
    controller: Annotated[str, Form(max_length=20)] = "",
) -> Response:
    """Begin a capture of the car, or of the practice car: guided, or for so many seconds."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    whole, speed = count_of(seconds, "Seconds"), count_of(bitrate, "Bit rate")
    address = controller_of(controller)
    practice = garage.practice(key)
    if practice is not None:
        # A page that is out of date must not stop the engine under a capture that runs.
        garage.refuse_busy(key)
        practice.hand_over()
        garage.capture(visit, practice.adapter, whole, practice.obey, address)
    else:
        adapter = garage.named(key, interface, channel, speed)
        garage.capture(visit, adapter, whole, controller=address)
    return go(f"/car/{key}/record")


@router.post("/car/{key}/record/stop")
def stop(request: Request, key: str, which: Annotated[str, Form(max_length=20)] = "") -> Response:
    """End the capture and take what it has into the book.

    ``which`` says which one the page showed: one that another page ended is ended, and a new one is
    none of this page's.
    """
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    live = garage.captures.get(key)
    if live is not None and which in {"", live.traces.token}:
        with live.ending:
            if garage.captures.get(key) is live:
                return _taken(garage, visit, live)
    elif not which:
        raise BellmouthError("No capture of this car is under way.")
    return go(_led_to(garage.visit(key)))


def _taken(garage: Garage, visit: Visit, live: Live) -> Response:
    try:
        live.close()
        if not (live.path.is_file() or journal_of(live.path).is_file()):
            raise BellmouthError(live.state.trouble or "Nothing was recorded.")
        garage.take(visit.name, live.path)
    finally:
        if garage.captures.get(visit.key) is live:
            del garage.captures[visit.key]
    return _judged(visit)


@router.get("/car/{key}/record/over")
def over(request: Request, key: str, which: str) -> dict[str, str | None]:
    """Where a page goes on whose capture another one has ended; nowhere while it is to be ended."""
    garage: Garage = request.app.state.garage
    live = garage.captures.get(key)
    there = live is not None and live.traces.token == which
    return {"see": None if there else _led_to(garage.visit(key))}


def _led_to(visit: Visit) -> str:
    """Where the job's newest recording led."""
    read = visit.numbers("recording")
    if not read:
        return f"/car/{visit.key}/record"
    after = read[-1].number in _after_work(visit)
    return f"/car/{visit.key}/{'proof' if after else 'finding'}"


@router.post("/car/{key}/record/left")
def left(
    request: Request, key: str, which: Annotated[str, Form()], do: Annotated[str, Form()]
) -> Response:
    """A capture that was left behind: into the book with it, or away."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    # What a browser says is looked for among what there is, never opened.
    path = next((one for one in garage.left(key) if one.name == which), None)
    if path is None:
        raise BellmouthError("That capture is not there any more.")
    if do == "drop":
        garage.drop(path)
        return go(f"/car/{key}/record")
    garage.take(visit.name, path)
    return _judged(visit)


@router.get("/car/{key}/record/states")
async def states(request: Request, key: str, after: str = "") -> Response:
    """The capture's states and readings as server-sent events: ``state`` and ``rows``.

    Whoever comes back says which event was the last, by header or in the address.
    """
    garage: Garage = request.app.state.garage
    live = garage.captures.get(key)
    if live is None:
        return Response(status_code=204)
    return EventStream(live.traces, request.headers.get("last-event-id") or after)


@router.get("/car/{key}/record/readings.csv")
def readings(request: Request, key: str) -> Response:
    """What the capture has read so far, as a recording that can be read again."""
    garage: Garage = request.app.state.garage
    live = garage.captures.get(key)
    if live is None:
        raise BellmouthError("No capture of this car is under way.")
    return StreamingResponse(
        live.traces.csv(), media_type="text/csv",
        headers={"content-disposition": 'attachment; filename="readings.csv"'},
    )  # fmt: skip


def _judged(visit: Visit) -> Response:
    """Where a recording leads: to the finding, or after the work to the proof. ``visit`` is from
    before it was taken in."""
    after = visit.numbers("recording") and _worked(visit.here)
    return go(f"/car/{visit.key}/{'proof' if after else 'finding'}")


def _after_work(visit: Visit) -> set[int]:
    """Recordings of this job that were made after work of it was written down."""
    order = visit.here
    return {
        one.number
        for place, one in enumerate(order)
        if one.kind == "recording" and _worked(order[:place])
    }


def _worked(entries: Sequence[Entry]) -> bool:
    """Whether work was written down, or the idle learned again, by what the last of them says."""
    return any(one.kind == "work" for one in entries) or bool(learned_since(entries))


def _speeds() -> tuple[int, ...]:
    """Idle, and what a guided capture may ask a practice car's foot to hold. [rpm]"""
    from bellmouth.bus.guide import asked_rpm  # noqa: PLC0415 - loads the finding

    return 0, *asked_rpm()


def _begun(path: Path) -> str:
    """When a capture was last written to, for people; nothing where it is gone meanwhile."""
    # One that ends at this moment goes from its journal to its file.
    for there in (path, journal_of(path), path):
        with suppress(FileNotFoundError):
            written_s = there.stat().st_mtime
            return datetime.fromtimestamp(written_s, tz=UTC).astimezone().strftime("%d %b %H:%M")
    return ""


@router.post("/car/{key}/practice/act")
def act(
    request: Request, key: str, control: Annotated[str, Form()], value: Annotated[float, Form()]
) -> Response:
    """Move a control of the practice car: key, pedal, held speed."""
    garage: Garage = request.app.state.garage
    practice = garage.practice(key)
    if practice is None:
        raise BellmouthError("This is not a practice car, or the server was started anew.")
    if control == "ask":
        practice.own_foot = True
        practice.car.ask(value)
    else:
        practice.car.do(control, value)
    return Response(status_code=204)
