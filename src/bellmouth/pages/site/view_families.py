"""Engine families: learnt from files, brought as files, shown, and used by a car's findings."""

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, File, Form, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from bellmouth.book.book import Book
from bellmouth.errors import BellmouthError
from bellmouth.finding.family import read_family
from bellmouth.pages.family_screen import coordinate_rows, idle_words
from bellmouth.pages.site.families import growth_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import go, page
from bellmouth.pages.site.sent_cars import kept_cars, owner_of_upload
from bellmouth.pages.site.uploads import kept_upload

if TYPE_CHECKING:
    from bellmouth.finding.family import Family

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_MOST_FILES = 200


@router.get("/families")
def families(request: Request) -> Response:
    """The families there are, and the ways to another."""
    garage: Garage = request.app.state.garage
    return page(request, "families.html", {"families": garage.families.all()})


@router.post("/families/file")
async def bring(request: Request, file: UploadFile) -> Response:
    """Keep a family file."""
    garage: Garage = request.app.state.garage
    with tempfile.TemporaryDirectory() as folder:
        path = await kept_upload(file, Path(folder), (".toml",))
        family = await run_in_threadpool(read_family, path)
    return go(f"/families/{garage.families.add(family)}")


@router.post("/families/learn")
async def learn(
    request: Request,
    cars: UploadFile,
    files: Annotated[list[UploadFile], File()],
    name: Annotated[str, Form()] = "",
    growth: Annotated[str, Form(max_length=8)] = "",
) -> Response:
    """Learn a family from its cars' recordings; ``growth`` asks the book how fast they get
    dirty."""
    garage: Garage = request.app.state.garage
    if len(files) > _MOST_FILES:
        raise BellmouthError(f"More than {_MOST_FILES} files: use bellmouth family learn.")
    with tempfile.TemporaryDirectory() as folder:
        table, kept = await kept_cars(cars, files, Path(folder))
        book = garage.book if growth else None
        family = await run_in_threadpool(_learned, table, kept, name.strip(), book)
    return go(f"/families/{garage.families.add(family)}")


def _learned(table: Path, files: list[tuple[str, Path]], name: str, book: Book | None) -> "Family":
    from bellmouth.fleet.family import learn_family  # noqa: PLC0415 - only learning loads it
    from bellmouth.fleet.family_files import examples_of, family_name  # noqa: PLC0415
    from bellmouth.fleet.inputs import read_cars  # noqa: PLC0415

    cars = read_cars(table)
    names = frozenset(cars.identities)
    placed = []
    for number, (given, path) in enumerate(files):
        owner = owner_of_upload(given, names)
        # Under a folder of its car's place: what a browser calls a file is never a path.
        ending = path.name.removeprefix("recording")
        placed.append(str(path.rename(path.parent / f"{_plain(owner)}-{number}{ending}")))
    chosen = family_name(cars, name or None)
    examples, _ = examples_of(placed, cars, chosen)
    growth = None if book is None else growth_of(book, chosen)
    return learn_family(examples, chosen, growth=growth).family


def _plain(owner: str) -> str:
    if not all(one.isalnum() or one in "_-. " for one in owner) or owner.startswith("."):
        raise BellmouthError(f"{owner}: call a car by letters, digits, - and _ in the table.")
    return owner


@router.get("/families/{number}")
def family(request: Request, number: int) -> Response:
    """What was learnt of a family."""
    garage: Garage = request.app.state.garage
    found = garage.families.get(number)
    told = {
        "family": found, "number": number, "idle": idle_words(found),
        "rows": coordinate_rows(found),
        "shares": sorted(found.shares.items(), key=lambda item: -item[1]),
    }  # fmt: skip
    return page(request, "family.html", told)


@router.get("/families/{number}/family.toml")
def family_file(request: Request, number: int) -> Response:
    """It as the file that the commands take."""
    garage: Garage = request.app.state.garage
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "family.toml"
        garage.families.get(number).write(path)
        text = path.read_text("utf-8")
    named = {"content-disposition": 'attachment; filename="family.toml"'}
    return PlainTextResponse(text, media_type="application/toml", headers=named)


@router.post("/families/{number}/drop")
def drop(request: Request, number: int) -> Response:
    """Keep it no longer."""
    garage: Garage = request.app.state.garage
    garage.families.drop(number)
    return go("/families")
