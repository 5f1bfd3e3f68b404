"""The finding of a recording in the book, with results of checks as they come in."""

from dataclasses import fields
from typing import Annotated

from fastapi import APIRouter, Form
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.errors import BellmouthError
from bellmouth.finding.result import Finding
from bellmouth.pages.document import finding_document
from bellmouth.pages.report import report_page
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.rendering import go, page

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/car/{key}/finding")
def finding(request: Request, key: str) -> Response:
    """What is wrong, how big, how sure, what next."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    told = {"visit": visit, "stages": stages_of(visit.here, "finding")}
    if not visit.numbers("recording"):
        return page(request, "no_recording.html", told)
    results, references = _told(visit)
    judged = garage.book.judge(visit.name, visit.numbers("recording")[0].number,
                               results=results, references=references)  # fmt: skip
    assert isinstance(judged.result, Finding)  # noqa: S101 - what judge makes of a recording
    if not visit.numbers("finding"):
        with garage.keeping:
            # Two browsers may ask for the first time at once.
            if not garage.visit(key).numbers("finding"):
                garage.book.keep(visit.name, judged, finding_document(judged.result))
        visit = garage.visit(key)
        told = {"visit": visit, "stages": stages_of(visit.here, "finding")}
    shown = report_page(judged.result, judged.recordings[0], judged.car)
    whole = {field.name: getattr(shown, field.name) for field in fields(shown)}
    return page(
        request, "finding.html",
        {**whole, **told, "results": results, "next": judged.result.next_checks,
         "references": references, "others": _others(visit)},
    )  # fmt: skip


@router.post("/car/{key}/finding/result")
def result(
    request: Request, key: str, check: Annotated[str, Form()], outcome: Annotated[str, Form()]
) -> Response:
    """What a check showed: the finding is made again and kept."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    if not visit.numbers("recording"):
        raise BellmouthError("There is no recording in this job that a check could tell about.")
    results, references = _told(visit)
    said = f"{check.strip()}={outcome.strip()}"
    judged = garage.book.judge(
        visit.name, visit.numbers("recording")[0].number, results=[*results, said],
        references=references,
    )  # fmt: skip
    assert isinstance(judged.result, Finding)  # noqa: S101 - what judge makes of a recording
    garage.book.keep(visit.name, judged, finding_document(judged.result))
    return go(f"/car/{key}/finding")


def _told(visit: Visit) -> tuple[list[str], list[int]]:
    """Results and references that the newest finding of this job was made with."""
    found = visit.numbers("finding")
    if not found:
        return [], []
    document = found[-1].document
    return list(document.get("results", [])), list(document.get("references", []))


def _others(visit: Visit) -> list[int]:
    """Recordings from before this job."""
    mine = {one.number for one in visit.numbers("recording")}
    return [one.number for one in visit.everywhere("recording") if one.number not in mine]
