"""Learning: which procedures the work calls for, one of them step by step, and how it went."""

import json
import tempfile
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.errors import BellmouthError
from bellmouth.learning import judge
from bellmouth.learning.packs import packs
from bellmouth.learning.plan import Planned, plan
from bellmouth.pages.judgement import judgement_document
from bellmouth.pages.procedures import procedure_document
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.rendering import go, page
from bellmouth.pages.site.uploads import ENDINGS, kept_mapping, kept_upload, of_fit_length
from bellmouth.recording import read_recording
from bellmouth.recording.series import Recording
from bellmouth.work.content import content

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/car/{key}/learning")
def learning(request: Request, key: str) -> Response:
    """The procedures that this job needs, in order."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    return page(
        request, "learning.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "learning"), "planned": _plan(visit),
            "packs": garage.procedures.every(), "attempts": visit.numbers("attempt"),
        },
    )  # fmt: skip


@router.get("/car/{key}/learning/{name}")
def procedure(request: Request, key: str, name: str) -> Response:
    """One procedure: its conditions, cautions and steps."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    chosen = procedure_document(garage.procedures.find(name))
    return page(
        request, "procedure.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "learning"), "procedure": chosen,
            "practice": garage.is_practice(key), "adapter": garage.reached(key), "attempts": [
                one for one in visit.numbers("attempt")
                if one.document.get("procedure") == chosen["name"]
            ],
        },
    )  # fmt: skip


@router.post("/car/{key}/learning/{name}/judge")
async def judged(
    request: Request,
    key: str,
    name: str,
    file: UploadFile,
    marks: Annotated[str, Form()] = "",
    mapping: UploadFile | None = None,
) -> Response:
    """Judge an attempt from its recording and what a person saw, and keep it."""
    garage: Garage = request.app.state.garage
    with tempfile.TemporaryDirectory() as folder:
        path = await kept_upload(file, Path(folder), ENDINGS)
        named = await kept_mapping(mapping, Path(folder))
        recording = await run_in_threadpool(
            lambda: of_fit_length(read_recording(path, mapping=named))
        )
        number = await run_in_threadpool(_kept, garage, key, name, recording, _marks(marks))
    return go(f"/car/{key}/attempt/{number}")


def _kept(
    garage: Garage, key: str, name: str, recording: Recording, marks: dict[str, float] | None
) -> int:
    visit = garage.visit(key)
    document = judgement_document(judge(recording, garage.procedures.find(name), marks))
    return garage.book.add(visit.name, "attempt", document).number


def _plan(visit: Visit) -> tuple[Planned, ...]:
    """What the work that was written down calls for."""
    done = [work for one in visit.numbers("work") for work in one.document.get("done", [])]
    does = {row["name"]: row.get("does") for row in content("works")["work"]}
    called = [does[work] for work in done if does.get(work)]
    # The plan is of the program's own procedures; one of your own covers none of them.
    known = {one.name for one in packs()}
    met = [
        name
        for one in visit.numbers("attempt")
        if one.document.get("judgement") == "met"
        and (name := str(one.document["procedure"])) in known
    ]
    return plan([one for one in called if one], done=met) if called else ()


def _marks(text: str) -> dict[str, float] | None:
    if not text.strip():
        return None
    try:
        told = json.loads(text)
        return {str(name): float(at) for name, at in told.items()}
    except (ValueError, AttributeError, TypeError, RecursionError) as error:
        raise BellmouthError(
            'Marks are written as {"lamp_blinks": 45.9}: a name and its second each.'
        ) from error
