"""Looking after the book: is it whole, a car's archive in and out, and deleting a car for good."""

import shutil
import tempfile
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form, UploadFile
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from bellmouth.errors import BellmouthError
from bellmouth.pages.site.flow import key_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import called, go, page, words_of
from bellmouth.pages.site.uploads import kept_upload

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/care")
def care(request: Request) -> Response:
    """Whether every entry and file is there as it was written; archives in."""
    garage: Garage = request.app.state.garage
    told = {"health": garage.book.check(), "expired": garage.book.expired()}
    return page(request, "care.html", told)


@router.get("/care/backup.zip")
def backup(request: Request) -> Response:
    """The whole book as one zip, while others may be writing it."""
    garage: Garage = request.app.state.garage
    folder = tempfile.TemporaryDirectory(prefix="bellmouth-backup-")
    try:
        there = garage.book.back_up(Path(folder.name) / "book")
        packed = shutil.make_archive(str(Path(folder.name) / "book"), "zip", there)
    except BaseException:
        folder.cleanup()
        raise
    # Sent from the disk: a book is as large as its recordings. It is removed when it is sent.
    return FileResponse(
        packed, media_type="application/zip",
        filename=f"bellmouth-book-{garage.book.today():%Y-%m-%d}.zip",
        background=BackgroundTask(folder.cleanup),
    )  # fmt: skip


@router.post("/care/sweep")
def sweep(request: Request) -> Response:
    """Remove files that no entry names, as a crash leaves them."""
    garage: Garage = request.app.state.garage
    garage.book.check(sweep=True)
    return go("/care")


@router.post("/care/import")
async def bring_in(request: Request, file: UploadFile) -> Response:
    """Add the car of an archive."""
    garage: Garage = request.app.state.garage
    with tempfile.TemporaryDirectory() as folder:
        path = await kept_upload(file, Path(folder), (".zip",))
        history = await run_in_threadpool(garage.book.import_, path)
    return go(f"/car/{key_of(history.name)}/book")


@router.get("/car/{key}/archive.zip")
def archive(request: Request, key: str, identification: str = "") -> Response:
    """A whole car as one open archive, its identification number masked unless it is asked for."""
    garage: Garage = request.app.state.garage
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "car.zip"
        garage.book.export(
            garage.visit(key).name, path, with_identification=identification == "yes"
        )
        content = path.read_bytes()
    name = 'attachment; filename="car.zip"'
    return Response(content, media_type="application/zip", headers={"content-disposition": name})


@router.get("/car/{key}/again")
def again(request: Request, key: str) -> Response:
    """Every finding and proof of a car made again, and whether it came out as kept."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    return page(request, "again.html", {"visit": visit, "made": garage.book.recompute(visit.name)})


@router.get("/car/{key}/delete")
def about_to_delete(request: Request, key: str) -> Response:
    """What deleting a car would take away."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    told = {"visit": visit, "taken": garage.book.would_delete(visit.name)}
    return page(request, "delete.html", told)


@router.post("/car/{key}/delete")
def delete(request: Request, key: str, name: Annotated[str, Form()]) -> Response:
    """Delete a car for good, where its name was typed."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    if " ".join(name.split()) not in {visit.name, called(visit.name, words_of(request))}:
        raise BellmouthError("The name is not this car's. Nothing was deleted.")
    garage.forget(visit)
    return go("/")
