"""The survey: the finding over many cars, of the book or of files that are sent."""

import io
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import APIRouter, File, Form, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.errors import BellmouthError
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import go, page, words_of
from bellmouth.pages.site.sent_cars import kept_cars
from bellmouth.pages.site.surveyed import Input, Surveyed, of_book, of_table

if TYPE_CHECKING:
    import polars as pl

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_MOST_FILES = 500


@router.get("/survey")
def begin(request: Request) -> Response:
    """What to survey; and the surveys of this server."""
    garage: Garage = request.app.state.garage
    return page(request, "survey.html", {"surveys": garage.surveys, "refresh": False})


@router.post("/survey/book")
def of_the_book(request: Request) -> Response:
    """Survey the newest recording of every car of the book."""
    garage: Garage = request.app.state.garage
    with _folder(garage) as folder:
        return _started(garage, folder, of_book(garage.book, folder))


@router.post("/survey/files")
async def of_files(
    request: Request, cars: UploadFile, files: Annotated[list[UploadFile], File()]
) -> Response:
    """Survey recordings that are sent, with the table of their cars."""
    garage: Garage = request.app.state.garage
    if len(files) > _MOST_FILES:
        raise BellmouthError(
            f"More than {_MOST_FILES} files: use bellmouth survey, which works on all cores."
        )
    with _folder(garage) as folder, tempfile.TemporaryDirectory(dir=folder) as sent:
        table, kept = await kept_cars(cars, files, Path(sent))
        inputs = await run_in_threadpool(of_table, table, kept, folder)
        return _started(garage, folder, inputs)


@router.get("/survey/{number}")
def survey(request: Request, number: int) -> Response:
    """How far it is; then causes by family, sizes, and the cars to look at first."""
    from bellmouth.pages.survey_page import summary_page  # noqa: PLC0415 - loads the drawing

    found = _survey(request, number)
    told = {"survey": found, "number": number, "refresh": not found.over}
    if found.table is None:
        return page(request, "surveying.html", told)
    shown = summary_page(found.table, words_of(request))
    whole = {field.name: getattr(shown, field.name) for field in fields(shown)}
    return page(request, "surveyed.html", {**whole, **told, "names": found.families()})


@router.get("/survey/{number}/report.html")
def report(request: Request, number: int) -> Response:
    """The summary as one page to send or print, with its pictures in it."""
    from bellmouth.pages.survey_page import write_summary  # noqa: PLC0415 - loads the drawing

    found = _through(request, number)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "survey.html"
        write_summary(path, found, words_of(request))
        html = path.read_bytes()
    head = {"content-disposition": 'attachment; filename="survey.html"'}
    return Response(html, media_type="text/html", headers=head)


@router.post("/survey/{number}/family")
def family(
    request: Request,
    number: int,
    name: Annotated[str, Form(max_length=200)] = "",
    growth: Annotated[str, Form(max_length=8)] = "",
) -> Response:
    """Learn a family from the cars of a survey that is through, and keep it."""
    _through(request, number)
    garage: Garage = request.app.state.garage
    learned = _survey(request, number).family(name, garage.book if growth else None)
    return go(f"/families/{garage.families.add(learned)}")


@router.get("/survey/{number}/findings.{ending}")
def table(request: Request, number: int, ending: Literal["csv", "parquet"]) -> Response:
    """Every row of a survey as a file."""
    found = _through(request, number)
    buffer = io.BytesIO()
    if ending == "csv":
        found.write_csv(buffer)
    else:
        found.write_parquet(buffer)
    kind = "text/csv" if ending == "csv" else "application/vnd.apache.parquet"
    name = f'attachment; filename="findings.{ending}"'
    return Response(buffer.getvalue(), media_type=kind, headers={"content-disposition": name})


def _survey(request: Request, number: int) -> Surveyed:
    garage: Garage = request.app.state.garage
    if not 1 <= number <= len(garage.surveys):
        raise BellmouthError("There is no such survey on this server. Begin another.")
    return garage.surveys[number - 1]


def _through(request: Request, number: int) -> "pl.DataFrame":
    """The rows of a survey that came to its end."""
    found = _survey(request, number).table
    if found is None:
        raise BellmouthError("That survey is not through yet.")
    return found


@contextmanager
def _folder(garage: Garage) -> Iterator[Path]:
    """A folder for a survey; gone again where it does not begin."""
    _refuse_second(garage)
    garage.folder.mkdir(parents=True, exist_ok=True)
    folder = Path(tempfile.mkdtemp(prefix="survey-", dir=garage.folder))
    try:
        yield folder
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise


def _refuse_second(garage: Garage) -> None:
    if any(not one.over for one in garage.surveys):
        raise BellmouthError("A survey is running already. Wait until it is through.")


def _started(garage: Garage, folder: Path, inputs: list[Input]) -> Response:
    _refuse_second(garage)  # one that began while these files were on their way
    made = Surveyed(folder, inputs)
    made.start()
    garage.surveys.append(made)
    return go(f"/survey/{len(garage.surveys)}")
