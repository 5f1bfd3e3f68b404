"""Learning: which procedures the work calls for, one of them step by step, and how it went."""

import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Form, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.book.done import met_since
from bellmouth.errors import BellmouthError
from bellmouth.learning import judge
from bellmouth.learning.packs import packs
from bellmouth.learning.plan import Planned, plan
from bellmouth.pages.coach_paper import lengths
from bellmouth.pages.judgement import judgement_document
from bellmouth.pages.procedures import procedure_document
from bellmouth.pages.site.asked_card import asked_card
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.persons import by_person
from bellmouth.pages.site.rendering import go, page, words_of
from bellmouth.pages.site.told_marks import events_of, marks_of, unseen_of
from bellmouth.pages.site.uploads import ENDINGS, kept_mapping, kept_upload, of_fit_length
from bellmouth.recording import read_recording
from bellmouth.recording.series import Recording
from bellmouth.work.works import learned_for

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/car/{key}/learning")
def learning(request: Request, key: str) -> Response:
    """The procedures that this job needs, in order: for the work written down, and for what an
    address names besides."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    planned = _plan(visit, asked_card(request).works)
    return page(
        request, "learning.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "learning"), "planned": planned,
            "settled": {name: one["settled"] for name, one in _settled(visit).items()},
            "packs": garage.procedures.every(), "attempts": visit.numbers("attempt"),
            "written": bool(visit.numbers("work")),
        },
    )  # fmt: skip


@router.get("/car/{key}/learning/{name}")
def procedure(request: Request, key: str, name: str) -> Response:
    """One procedure: its conditions, cautions and steps."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    found = garage.procedures.find(name)
    chosen = procedure_document(found)
    return page(
        request, "procedure.html",
        {
            "visit": visit, "stages": stages_of(visit.here, "learning"), "procedure": chosen,
            "lengths": lengths(words_of(request), found),
            "practice": garage.is_practice(key), "adapter": garage.reached(key),
            "events": events_of(found), "unseen": unseen_of(found), "attempts": [
                one for one in visit.numbers("attempt")
                if one.document.get("procedure") == chosen["name"]
            ],
        },
    )  # fmt: skip


@router.post("/car/{key}/learning/{name}/settle")
def settle(
    request: Request,
    key: str,
    name: str,
    settled: Annotated[Literal["done", "left out", "open"], Form()],
    because: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """A procedure of the plan was done already or is left out, or is to be done after all; kept in
    this job, with why."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    found, why = garage.procedures.find(name), " ".join(because.split()).rstrip(".")
    if settled == "left out" and not why:
        raise BellmouthError("Say why it is left out: whoever works on the car next will ask.")
    text = {
        "done": f'"{found.title}" was done already.',
        "left out": f'"{found.title}" is left out, because {why}.',
        "open": f'"{found.title}" is to be done after all.',
    }[settled]
    told = {
        "text": text, "procedure": name, "does": found.does, "settled": settled, "because": why,
    }  # fmt: skip
    garage.book.add(visit.name, "note", told)
    return go(f"/car/{key}/learning")


@router.post("/car/{key}/learning/{name}/judge")
async def judged(
    request: Request,
    key: str,
    name: str,
    file: UploadFile | None = None,
    marks: Annotated[str, Form()] = "",
    by: Annotated[str, Form(max_length=80)] = "",
    mapping: UploadFile | None = None,
) -> Response:
    """Judge an attempt from its recording, from what a person saw, or from both, and keep it.

    Beside ``marks`` there may be fields ``at-EVENT`` and ``stood-CONDITION``.
    """
    garage: Garage = request.app.state.garage
    form = {name: one for name, one in (await request.form()).items() if isinstance(one, str)}
    told = marks_of({**form, "marks": marks})
    with tempfile.TemporaryDirectory() as folder:
        recording = None
        if file is not None and file.filename:
            path = await kept_upload(file, Path(folder), ENDINGS)
            named = await kept_mapping(mapping, Path(folder))
            recording = await run_in_threadpool(
                lambda: of_fit_length(read_recording(path, mapping=named))
            )
        elif told is None:
            raise BellmouthError(
                "There is nothing to judge by. Choose the recording of the attempt, or tell what "
                "you saw and at which second."
            )
        number = await run_in_threadpool(_kept, garage, key, name, recording, told, by)
    return go(f"/car/{key}/attempt/{number}")


def _kept(
    garage: Garage, key: str, name: str, recording: Recording | None,
    marks: Mapping[str, object] | None, person: str,
) -> int:  # fmt: skip
    visit = garage.visit(key)
    document = judgement_document(judge(recording, garage.procedures.find(name), marks))
    return garage.book.add(visit.name, "attempt", by_person(document, person)).number


def _plan(visit: Visit, meant: Iterable[str]) -> tuple[Planned, ...]:
    """What the work that was written down, and that is ``meant``, calls for."""
    done = [work for one in visit.numbers("work") for work in one.document.get("done", [])]
    called = learned_for([*done, *meant])
    # The plan is of the program's own procedures; one of your own covers none of them.
    known = {one.name for one in packs()}
    met = set(met_since(visit.here)) & known
    told = {name: one for name, one in _settled(visit).items() if name in known}
    skipped = {
        name: str(one["because"]) for name, one in told.items() if one["settled"] == "left out"
    }
    return plan(called, done=met, skipped=skipped) if called else ()


def _settled(visit: Visit) -> dict[str, Mapping[str, Any]]:
    """What was last said of a procedure in this job, by its name; that it was done already holds
    until there is work with the hands again."""
    notes = [one.document for one in visit.numbers("note")]
    said = {str(one["procedure"]): one for one in notes if "settled" in one}
    met = met_since(visit.here)
    return {name: one for name, one in said.items() if one["settled"] != "done" or name in met}
