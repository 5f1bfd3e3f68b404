"""What else a job keeps: notes, photos, which recording was good, and its recordings as files."""

import tempfile
from pathlib import Path
from typing import Annotated, Literal

from fastapi import APIRouter, Form, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.book.entries import numbered
from bellmouth.bus.readiness import advise, read_rules
from bellmouth.bus.recorded_monitors import recorded_monitors
from bellmouth.errors import BellmouthError
from bellmouth.pages.car_document import monitors_document
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.rendering import go, page
from bellmouth.pages.site.uploads import kept_upload
from bellmouth.pages.site.view_files import TYPES
from bellmouth.recording.quality import assess

__all__ = ["MOST_TEXT", "PICTURES", "good_recordings", "refuse_large", "router"]

router = APIRouter(include_in_schema=False)

PICTURES = {".jpg": "image/jpeg", ".png": "image/png", ".webp": "image/webp"}
_MOST_PICTURE_BYTES = 20 << 20
MOST_TEXT = 4000
#: The job that something belongs to; the newest where none is said.
_Job = Annotated[int | None, Form(ge=1)]


def good_recordings(visit: Visit) -> list[int]:
    """Recordings that somebody called good and did not take back, oldest first."""
    said: dict[int, bool] = {}
    for one in visit.everywhere("note"):
        if isinstance(number := one.document.get("recording"), int) and "good" in one.document:
            said[number] = bool(one.document["good"])
    there = {one.number for one in visit.everywhere("recording")}
    return sorted(number for number, good in said.items() if good and number in there)


def refuse_large(photo: UploadFile) -> None:
    """Refuse a photo that is larger than any need be.

    Raises
    ------
    BellmouthError
        If it is.
    """
    if (photo.size or 0) > _MOST_PICTURE_BYTES:
        raise BellmouthError(
            f"That photo is more than {_MOST_PICTURE_BYTES >> 20} MB. Send a smaller one."
        )


@router.post("/car/{key}/note")
def note(request: Request, key: str, text: Annotated[str, Form()], job: _Job = None) -> Response:
    """Keep a sentence in this job, or in an earlier one."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    tidy = text.strip()
    if not tidy or len(tidy) > MOST_TEXT:
        raise BellmouthError(f"A note is 1 to {MOST_TEXT} characters of text.")
    garage.book.add(visit.name, "note", {"text": tidy}, job=job)
    return go(f"/car/{key}/book")


@router.post("/car/{key}/photo")
async def photo(
    request: Request,
    key: str,
    file: UploadFile,
    text: Annotated[str, Form()] = "",
    job: _Job = None,
) -> Response:
    """Keep a photo, drawn anew: where, when and with what it was taken stays behind."""
    garage: Garage = request.app.state.garage
    visit = await run_in_threadpool(garage.visit, key)
    refuse_large(file)
    with tempfile.TemporaryDirectory() as folder:
        endings = (*PICTURES, ".jpeg")
        if not (file.filename or "").lower().endswith(endings):
            raise BellmouthError(f"Choose a photo that ends in {', '.join(endings)}.")
        path = await kept_upload(file, Path(folder), endings)

        def keep() -> None:
            garage.book.add_photo(visit.name, path, text=text.strip()[:MOST_TEXT], job=job)

        await run_in_threadpool(keep)
    return go(f"/car/{key}/book")


@router.get("/car/{key}/photo/{number}")
def picture(request: Request, key: str, number: int) -> Response:
    """A photo of the book, with the type that it was written in."""
    garage: Garage = request.app.state.garage
    kept = numbered(garage.visit(key).entries, number, "photo").files[0]
    with garage.book.told():
        content = garage.book.files.read(kept)
    kind = PICTURES[Path(kept).suffix]
    return Response(content, media_type=kind, headers={"content-disposition": "inline"})


@router.post("/car/{key}/good")
def good(
    request: Request,
    key: str,
    recording: Annotated[int, Form()],
    is_good: Annotated[Literal["yes", "no"], Form()] = "yes",
) -> Response:
    """Keep a recording as the good one, or take that back; later findings compare with it."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    numbered(visit.entries, recording, "recording")
    text = f"Recording {recording} is {'' if is_good == 'yes' else 'not '}the car when it was good."
    document = {"text": text, "recording": recording, "good": is_good == "yes"}
    garage.book.add(visit.name, "note", document)
    return go(f"/car/{key}/book")


@router.get("/car/{key}/recording/{number}.{ending}")
def recording(
    request: Request, key: str, number: int, ending: Literal["csv", "parquet", "mf4"]
) -> Response:
    """A recording of the book as a file of the format that is asked for."""
    from bellmouth.recording.export import write_recording  # noqa: PLC0415

    garage: Garage = request.app.state.garage
    found = garage.book.recording(garage.visit(key).name, number)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"recording.{ending}"
        write_recording(found, path)
        content = path.read_bytes()
    name = f'attachment; filename="recording-{number}.{ending}"'
    return Response(content, media_type=TYPES[ending], headers={"content-disposition": name})


@router.get("/car/{key}/recording/{number}")
def looked_at(request: Request, key: str, number: int) -> Response:
    """How good a recording of the book is, and what it says of the monitors where it holds them."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    found = garage.book.recording(visit.name, number)
    ready = None
    if "monitor_status" in found:
        monitors = recorded_monitors(found)
        advice = advise(monitors, None, read_rules(garage.rules_file))
        ready = monitors_document(monitors, advice)
    return page(
        request, "recording.html",
        {"visit": visit, "stages": stages_of(visit.here, "record"), "number": number,
         "quality": assess(found), "ready": ready, "good": number in good_recordings(visit)},
    )  # fmt: skip
