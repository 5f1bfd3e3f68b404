"""A recording's file without a car: is it good enough, and as a file of another format."""

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import APIRouter, Form, Query, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import go, page
from bellmouth.pages.site.typed import controller_of
from bellmouth.pages.site.uploads import kept_mapping, kept_upload, of_fit_length
from bellmouth.recording import read_recording
from bellmouth.recording.quality import assess

if TYPE_CHECKING:
    from bellmouth.recording.series import Recording

__all__ = ["TYPES", "router"]

router = APIRouter(include_in_schema=False)

TYPES = {
    "csv": "text/csv", "parquet": "application/vnd.apache.parquet", "mf4": "application/x-mdf",
}  # fmt: skip
_Text = Annotated[str, Form(max_length=20)]


@router.get("/files")
def files(request: Request, read: Annotated[str, Query(max_length=40)] = "") -> Response:
    """What to do with a file; or how good the one is that was read just now."""
    garage: Garage = request.app.state.garage
    told = garage.read.get("file", "", read)
    return page(request, "files.html" if told is None else "checked.html", told or {})


@router.post("/files/check")
async def check(
    request: Request, file: UploadFile, mapping: UploadFile | None = None, controller: _Text = ""
) -> Response:
    """Whether a recording is good enough to judge an engine by; it is not kept."""
    address = controller_of(controller)
    with tempfile.TemporaryDirectory() as folder:
        path = await kept_upload(file, Path(folder))
        named = await kept_mapping(mapping, Path(folder))
        quality = await run_in_threadpool(lambda: assess(_read(path, named, address)))
    told = {"quality": quality, "called": (file.filename or "")[:200]}
    garage: Garage = request.app.state.garage
    return go(f"/files?read={garage.read.keep('file', '', told)}")


@router.post("/files/convert")
async def convert(
    file: UploadFile,
    to: Annotated[Literal["csv", "parquet", "mf4"], Form()],
    mapping: UploadFile | None = None,
    controller: _Text = "",
) -> Response:
    """A recording of any kind as a file of the format that is asked for."""
    address = controller_of(controller)
    with tempfile.TemporaryDirectory() as folder:
        path = await kept_upload(file, Path(folder))
        named = await kept_mapping(mapping, Path(folder))
        content = await run_in_threadpool(_converted, path, named, address, to)
    head = {"content-disposition": f'attachment; filename="recording.{to}"'}
    return Response(content, media_type=TYPES[to], headers=head)


def _read(path: Path, mapping: Path | None, controller: int | None) -> "Recording":
    return of_fit_length(read_recording(path, mapping=mapping, controller=controller))


def _converted(path: Path, mapping: Path | None, controller: int | None, ending: str) -> bytes:
    from bellmouth.recording.export import write_recording  # noqa: PLC0415

    (there := path.parent / "out").mkdir()
    written = there / f"recording.{ending}"
    write_recording(_read(path, mapping, controller), written)
    return written.read_bytes()
