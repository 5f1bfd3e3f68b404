"""Looking after the book: is it whole, a car's archive in and out, and deleting a car for good."""

import tempfile
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.errors import BellmouthError
from bellmouth.pages.site.flow import key_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import go, page
from bellmouth.pages.site.uploads import kept_upload

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/care")
def care(request: Request) -> Response:
    """Whether every entry and file is there as it was written; archives in."""
    garage: Garage = request.app.state.garage
    told = {"health": garage.book.check(), "expired": garage.book.expired()}
    return page(request, "care.html", told)


@router.post("/care/import")
async def bring_in(request: Request, file: UploadFile) -> Response:
    """Add the car of an archive."""
    garage: Garage = request.app.state.garage
    with tempfile.TemporaryDirectory() as folder:
        path = await kept_upload(file, Path(folder), (".zip",))
        history = await run_in_threadpool(garage.book.import_, path)
    return go(f"/car/{key_of(history.name)}/book")


@router.get("/car/{key}/archive.zip")
def archive(request: Request, key: str) -> Response:
    """A whole car as one open archive, its identification number masked."""
    garage: Garage = request.app.state.garage
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "car.zip"
        garage.book.export(garage.visit(key).name, path)
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
    if " ".join(name.split()) != visit.name:
        raise BellmouthError("The name is not this car's. Nothing was deleted.")
    garage.forget(visit)
    return go("/")
