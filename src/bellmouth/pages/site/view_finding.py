"""The finding of a recording in the book, with results of checks as they come in."""

import tempfile
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import fields, replace
from functools import partial
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Form, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.book.done import done_between
from bellmouth.book.judging import Judged, stands
from bellmouth.book.same_samples import apart, the_same
from bellmouth.car.description import Car
from bellmouth.errors import BellmouthError, FindingError
from bellmouth.finding.check_table import CHECKS
from bellmouth.finding.priors import read_weights
from bellmouth.finding.result import Finding
from bellmouth.pages.card_words import Words
from bellmouth.pages.document import finding_document
from bellmouth.pages.finding_plots import finding_plots
from bellmouth.pages.metered import as_metered
from bellmouth.pages.plot_words import PLOT_WORDS
from bellmouth.pages.plots import plot_in, plot_json
from bellmouth.pages.report import report_page, write_report
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.rendering import go, page, words_of
from bellmouth.pages.site.view_keeping import good_recordings
from bellmouth.recording.series import Recording
from bellmouth.work.finding_file import finding_in

__all__ = ["asked_of", "judged_of", "made_again", "router", "shown_finding"]

router = APIRouter(include_in_schema=False)

_ASKED = ("recording", "also", "results", "references", "prior", "family")
_MOST_PRIOR_BYTES = 64 << 10


@router.get("/car/{key}/finding")
def finding(request: Request, key: str) -> Response:
    """What is wrong, how big, how sure, what next."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    told = {"visit": visit, "stages": stages_of(visit.here, "finding")}
    if not visit.numbers("recording"):
        return page(request, "no_recording.html", told)
    asked = asked_of(visit)
    judged, found = judged_of(garage, visit, asked)
    if not visit.numbers("finding"):
        _keep_first(garage, visit, judged, found)
        visit = garage.visit(key)
        told = {"visit": visit, "stages": stages_of(visit.here, "finding")}
    speak = words_of(request)
    plots = {
        name: plot_json(plot_in(plot, speak))
        for name, plot in finding_plots(as_metered(found, judged.car), speak.told).items()
    }  # fmt: skip
    shown = report_page(found, _of_entry(judged, speak), judged.car, speak)
    whole = {field.name: getattr(shown, field.name) for field in fields(shown)}
    return page(
        request, "finding.html",
        {**whole, **told, "results": judged.inputs["results"], "next": found.next_checks,
         "references": judged.inputs["references"], "own_prior": "prior" in judged.inputs,
         "also": judged.inputs.get("also", []), "more": _more(visit, judged),
         "others": _others(visit, judged), "here": visit.numbers("recording"),
         "of": judged.inputs["recording"], "plots": plots, "plot_words": PLOT_WORDS,
         "family": judged.inputs.get("family"), "families": _fitting(garage, judged.car),
         "same": _same_as_good(garage, visit, judged.inputs)},
    )  # fmt: skip


@router.get("/car/{key}/finding/report.html")
def report(request: Request, key: str) -> Response:
    """The finding as one page to send or print, with all its pictures in it."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    judged, found = judged_of(garage, visit, asked_of(visit))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "finding.html"
        speak = words_of(request)
        write_report(path, found, _of_entry(judged, speak), judged.car, speak)
        html = path.read_bytes()
    head = {"content-disposition": 'attachment; filename="finding.html"'}
    return Response(html, media_type="text/html", headers=head)


@router.post("/car/{key}/finding/result")
def result(
    request: Request,
    key: str,
    check: Annotated[str, Form()] = "",
    outcome: Annotated[str, Form()] = "",
    said: Annotated[str, Form()] = "",
) -> Response:
    """What a check showed, as check and outcome or as ``said`` in one: the finding is made again
    and kept."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    if not visit.numbers("recording"):
        raise BellmouthError("There is no recording in this job that a check could tell about.")
    asked = asked_of(visit)
    typed = _meant(check.strip(), outcome.strip(), words_of(request))
    told = said.strip() or f"{check.strip()}={typed}"
    made_again(garage, visit, {**asked, "results": [*asked.get("results", []), told]})
    return go(f"/car/{key}/finding")


@router.post("/car/{key}/finding/result/back")
def take_back(
    request: Request, key: str, said: Annotated[str, Form(max_length=200)] = ""
) -> Response:
    """Take back what a check was said to show, as after a wrong tap: the finding is made again."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    asked = asked_of(visit)
    results = list(asked.get("results", []))
    if said not in results:
        raise BellmouthError("That is not among what was told of checks. Look at the finding.")
    results.remove(said)
    made_again(garage, visit, {**asked, "results": results})
    return go(f"/car/{key}/finding")


@router.post("/car/{key}/finding/of")
def of(request: Request, key: str, recording: Annotated[int, Form()]) -> Response:
    """Judge another recording of this job, such as the one after the work; what checks showed of
    the one before is no evidence of it."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    if recording not in {one.number for one in visit.numbers("recording")}:
        raise BellmouthError("That is no recording of this job. Choose from the list.")
    asked = asked_of(visit)
    asked.pop("results", None)
    asked.pop("also", None)
    # What was left out as the same as the one before can be compared with this one.
    left = _same_as_good(garage, visit, asked) if "recording" in asked else []
    others = [one for one in (*asked.get("references", []), *left) if one != recording]
    references = apart(partial(garage.book.recording, visit.name), recording, others)
    made_again(garage, visit, {**asked, "recording": recording, "references": references})
    return go(f"/car/{key}/finding")


def _standing(
    request: Request, key: str
) -> "tuple[Garage, Visit, dict[str, Any], Judged[Finding]]":
    """A job, what was asked of its recordings, and the finding that stands."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    asked = asked_of(visit)
    judged, _ = judged_of(garage, visit, asked)
    return garage, visit, asked, judged


@router.post("/car/{key}/finding/compare")
def compare(
    request: Request, key: str, reference: Annotated[list[int] | None, Form()] = None
) -> Response:
    """Compare with recordings of the car when it was good: the finding is made again and kept."""
    garage, visit, asked, judged = _standing(request, key)
    chosen = [one for one in reference or [] if one in _others(visit, judged)]
    made_again(garage, visit, {**asked, "references": chosen})
    return go(f"/car/{key}/finding")


@router.post("/car/{key}/finding/also")
def also(
    request: Request, key: str, recording: Annotated[list[int] | None, Form()] = None
) -> Response:
    """Judge more recordings of the car as it is now together with this one."""
    garage, visit, asked, judged = _standing(request, key)
    chosen = [one for one in recording or [] if one in _more(visit, judged)]
    references = [one for one in judged.inputs["references"] if one not in chosen]
    made_again(garage, visit, {**asked, "also": chosen, "references": references})
    return go(f"/car/{key}/finding")


@router.post("/car/{key}/finding/family")
def family(request: Request, key: str, number: Annotated[str, Form(max_length=9)] = "") -> Response:
    """Judge the car as one of an engine family, or of none."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    asked = asked_of(visit)
    asked.pop("family", None)
    if number:
        if not number.isdecimal():
            raise BellmouthError("There is no such engine family. Go back to the list.")
        found = garage.families.get(int(number))
        asked["family"] = {"name": found.name, "file": found.text()}
    made_again(garage, visit, asked)
    return go(f"/car/{key}/finding")


@router.post("/car/{key}/finding/prior")
async def prior(request: Request, key: str, file: UploadFile | None = None) -> Response:
    """Own weights of the causes from a file; without one, back to the shipped ones."""
    garage: Garage = request.app.state.garage
    visit = await run_in_threadpool(garage.visit, key)
    asked = asked_of(visit)
    asked.pop("prior", None)
    if file is not None and (content := await file.read(_MOST_PRIOR_BYTES)):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "prior.toml"
            path.write_bytes(content)
            asked["prior"] = read_weights(path)
    await run_in_threadpool(made_again, garage, visit, asked)
    return go(f"/car/{key}/finding")


def _of_entry(judged: Judged[Finding], speak: Words) -> Recording:
    """The recording that was judged, called by its entry in the reader's language: a report takes
    what it is called for the name of a file, which it does not translate."""
    recording = judged.recordings[0]
    return replace(recording, source=speak.told(recording.source))


def _meant(check: str, outcome: str, speak: Words) -> str:
    """An outcome as the finding calls it, where it was told in the reader's language."""
    known = CHECKS[check].outcomes if check in CHECKS else ()
    spoken = {speak.told(one.replace("_", " ")).casefold(): one for one in known}
    return spoken.get(outcome.casefold(), outcome)


def asked_of(visit: Visit) -> dict[str, Any]:
    """What the newest finding of this job was made with; at first, the recordings called good."""
    found = visit.numbers("finding")
    mine = {one.number for one in visit.numbers("recording")}
    if found:
        document = found[-1].document
        asked = {name: document[name] for name in _ASKED if name in document}
        if asked.get("recording") not in mine:
            asked.pop("recording", None)
        if "also" in asked:
            asked["also"] = [one for one in asked["also"] if one in mine]
        return asked
    good = [one for one in good_recordings(visit) if one not in mine]
    # Without any, the book looks for the one from just after the plate was last cleaned.
    return {"references": good} if good else {}


def judged_of(
    garage: Garage, visit: Visit, asked: Mapping[str, Any]
) -> tuple[Judged[Finding], Finding]:
    """The finding of this job's recording, with what it was asked with; where none is said, of the
    first one that can be judged, beside those of the good ones that it can be compared with."""
    recorded = visit.numbers("recording")
    if not recorded:
        raise BellmouthError("There is no recording in this job that a finding could be made of.")
    said = dict(asked)
    tried = [said.pop("recording")] if "recording" in said else [one.number for one in recorded]
    refused: FindingError | None = None
    read = partial(garage.book.recording, visit.name)
    for number in tried:
        try:
            if "references" in said and "recording" not in asked:
                said["references"] = apart(read, number, asked["references"])
            judged = garage.book.judge(visit.name, number, **said)
        except FindingError as error:
            refused = refused or error  # of a car, of what was asked, or of this recording alone
            continue
        return judged, judged.result
    assert refused is not None  # noqa: S101 - there is at least one
    raise refused


def shown_finding(garage: Garage, visit: Visit) -> Finding | None:
    """The finding that this job shows, for whoever needs no pictures; None before it has a
    recording that can be judged.

    It is read from the book, and judged only where none is kept or the kept one is out of date.
    """
    if not visit.numbers("recording"):
        return None
    kept, asked = visit.numbers("finding"), asked_of(visit)
    if kept and "recording" in asked and stands(garage.book, visit.name, kept[-1]):
        return finding_in(kept[-1].document["finding"], visit.name)
    try:
        judged, found = judged_of(garage, visit, asked)
    except FindingError:
        return None  # its own page says why; the work can be written down all the same
    if not kept:
        _keep_first(garage, visit, judged, found)
    return found


def _keep_first(garage: Garage, visit: Visit, judged: Judged[Finding], found: Finding) -> None:
    """Keep a job's finding where it has none yet: two browsers may ask for it at once."""
    with garage.keeping:
        if not garage.visit(visit.key).numbers("finding"):
            garage.book.keep(visit.name, judged, finding_document(found))


def made_again(garage: Garage, visit: Visit, asked: Mapping[str, Any]) -> None:
    """Make the finding of this job again, with what it is asked with, and keep it."""
    judged, found = judged_of(garage, visit, asked)
    garage.book.keep(visit.name, judged, finding_document(found))


def _fitting(garage: Garage, car: Car) -> dict[int, str]:
    """Engine families that this car can be of, by number."""
    found = {}
    for number, one in garage.families.all().items():
        with suppress(BellmouthError):  # of another engine: that is what is asked
            one.fits(car)
            found[number] = one.told
    return found


def _same_as_good(garage: Garage, visit: Visit, asked: Mapping[str, Any]) -> list[int]:
    """Good recordings that hold the samples of the one judged, so that it was judged without."""
    left = set(good_recordings(visit)) - {asked["recording"], *asked.get("references", ())}
    read = partial(garage.book.recording, visit.name)
    return the_same(read, asked["recording"], sorted(left))


def _others(visit: Visit, judged: Judged[Finding]) -> list[int]:
    """Recordings that the finding can be compared with: all but those it is of."""
    mine = {judged.inputs["recording"], *judged.inputs.get("also", ())}
    return [one.number for one in visit.everywhere("recording") if one.number not in mine]


def _more(visit: Visit, judged: Judged[Finding]) -> list[int]:
    """More recordings of this job that nothing was done between and the one judged."""
    mine = judged.inputs["recording"]
    others = [one.number for one in visit.numbers("recording") if one.number != mine]
    work = {
        one: [*done_between(visit.entries, mine, one), *done_between(visit.entries, one, mine)]
        for one in others
    }
    return [one for one in others if not work[one]]
