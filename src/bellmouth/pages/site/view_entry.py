"""One entry of a car's book: what it says, as data too, and correcting it."""

import tempfile
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from bellmouth.book.entries import Entry, numbered
from bellmouth.book.masking import mask
from bellmouth.car import COMPLAINTS
from bellmouth.errors import BellmouthError, BookError
from bellmouth.pages.site.corrections import Wanted, can_be_corrected, correct, now_stands
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.rendering import go, page, words_of
from bellmouth.pages.site.typed import controller_of
from bellmouth.pages.site.uploads import ENDINGS, kept_mapping, kept_upload
from bellmouth.pages.site.view_cars import distance_km
from bellmouth.pages.site.view_keeping import MOST_TEXT, PICTURES, refuse_large
from bellmouth.pages.words import look_again
from bellmouth.work.works import work_titles

__all__ = ["odd_checks", "router"]

router = APIRouter(include_in_schema=False)

_Text = Annotated[str, Form(max_length=200)]
#: What the file of each kind of entry may be.
_FILES = {"photo": (*PICTURES, ".jpeg"), "recording": ENDINGS, "card": (".json",)}


@router.get("/car/{key}/entry/{number}.json")
def data(request: Request, key: str, number: int) -> Response:
    """What an entry says, as data; a car's identification number is masked."""
    garage: Garage = request.app.state.garage
    one = _entry(garage.visit(key), number)
    said = dict(one.document)
    if said.get("identification"):
        said["identification"] = mask(said["identification"])
    told = {name: getattr(one, name) for name in ("number", "kind", "job", "made_at", "corrects")}
    return JSONResponse({**told, "document": said})


@router.get("/car/{key}/entry/{number}")
def entry(request: Request, key: str, number: int) -> Response:
    """An entry, what stands in its place, and the form that corrects it."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    one = _entry(visit, number)
    stands = now_stands(visit, one)
    earlier = [job for job in visit.everywhere("job") if (job.job or 0) < (one.job or 0)]
    return page(
        request, "entry.html",
        {
            "visit": visit, "stages": stages_of(visit.here, ""), "entry": one, "stands": stands,
            "corrects": stands.number == one.number and can_be_corrected(one),
            "works": work_titles(), "complaints": COMPLAINTS, "earlier": earlier,
            "odometer": _odometer(request, one), "at_odds": odd_checks(request, one),
            "loads_off": _loads_off(garage, visit, one),
        },
    )  # fmt: skip


@router.post("/car/{key}/entry/{number}")
async def put_right(
    request: Request,
    key: str,
    number: int,
    text: Annotated[str, Form(max_length=MOST_TEXT)] = "",
    by: Annotated[str, Form(max_length=80)] = "",
    gasket: Annotated[str, Form(max_length=10)] = "",
    work: Annotated[list[str] | None, Form()] = None,
    distance: _Text = "",
    complaint: _Text = "",
    on: _Text = "",
    comeback_of: Annotated[str, Form(max_length=9)] = "",
    file: UploadFile | None = None,
    mapping: UploadFile | None = None,
    controller: Annotated[str, Form(max_length=20)] = "",
    loads_off: Annotated[str, Form(max_length=9)] = "",
) -> Response:
    """Another entry in the place of this one; of a finding or a proof, made again as it is now."""
    garage: Garage = request.app.state.garage
    visit = await run_in_threadpool(garage.visit, key)
    old = _entry(visit, number)
    touched = distance.strip() != _odometer(request, old)
    with tempfile.TemporaryDirectory() as folder:
        sent = file is not None and bool(file.filename) and old.kind in _FILES
        if file and sent and old.kind == "photo":
            refuse_large(file)
        path = await kept_upload(file, Path(folder), _FILES[old.kind]) if file and sent else None
        reading = {
            "mapping": await kept_mapping(mapping, Path(folder)),
            "controller": controller_of(controller),
        }
        wanted = Wanted(
            text.strip(), by, gasket, tuple(work or ()),
            distance_km(request, distance) if touched else None, complaint, on.strip(),
            _job(comeback_of), path, reading, bool(loads_off),
        )  # fmt: skip
        new = await run_in_threadpool(correct, garage, visit, old, wanted)
    return go(f"/car/{key}/entry/{new.number}")


def _entry(visit: Visit, number: int) -> Entry:
    return numbered(visit.entries, number)


def odd_checks(request: Request, one: Entry) -> str:
    """What to look at again where a check in a kept finding disagrees; empty where none does."""
    kept = one.document["finding"] if one.kind == "finding" else {}
    return words_of(request).told(look_again(kept.get("disagreeing", {})))


def _loads_off(garage: Garage, visit: Visit, one: Entry) -> bool:
    """Whether an entry is a recording that says that loads were off at idle."""
    if one.kind != "recording":
        return False
    try:
        return garage.book.recording(visit.name, one.number).loads_off
    except BookError:
        return False  # its file is lost; another can be put in its place


def _job(text: str) -> int | None:
    if not text.strip():
        return None
    if not text.strip().isdecimal():
        raise BellmouthError("That is no job of this car. Choose from the list.")
    return int(text)


def _odometer(request: Request, one: Entry) -> str:
    """An entry's odometer as its field shows it; empty where it has none."""
    if one.distance_km is None:
        return ""
    return f"{words_of(request).scaled(one.distance_km, 'km'):.0f}"
