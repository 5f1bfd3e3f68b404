"""The proof: the recording from before the work against the one from after it."""

import tempfile
from dataclasses import fields
from pathlib import Path

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.book.judging import Judged
from bellmouth.errors import BellmouthError
from bellmouth.finding.proof_result import Proof
from bellmouth.pages.document import proof_document
from bellmouth.pages.plot_words import PLOT_WORDS
from bellmouth.pages.plots import plot_in, plot_json
from bellmouth.pages.proof_page import proof_page, write_report
from bellmouth.pages.proof_plots import proof_plots
from bellmouth.pages.site.families import family_of_job
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.rendering import page, words_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/car/{key}/proof/report.html")
def report(request: Request, key: str) -> Response:
    """The proof as one page to send or print, with all its pictures in it."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    recordings = visit.numbers("recording")
    if len(recordings) < 2:
        raise BellmouthError("A proof needs a recording from before the work and one from after.")
    judged, proved = _judged(garage, visit)
    first, then = judged.recordings[:2]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "proof.html"
        write_report(path, proved, first, then, judged.car, words_of(request))
        html = path.read_bytes()
    head = {"content-disposition": 'attachment; filename="proof.html"'}
    return Response(html, media_type="text/html", headers=head)


def _judged(garage: Garage, visit: Visit) -> tuple[Judged, Proof]:
    """The proof of the first recording of a job and its last."""
    recordings = visit.numbers("recording")
    judged = garage.book.judge_work(
        visit.name, recordings[0].number, recordings[-1].number, family=family_of_job(visit)
    )
    assert isinstance(judged.result, Proof)  # noqa: S101 - what judge_work makes of two
    return judged, judged.result


@router.get("/car/{key}/proof")
def proof(request: Request, key: str) -> Response:
    """Better, same, worse, or what is still needed to say."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    recordings = visit.numbers("recording")
    told = {"visit": visit, "stages": stages_of(visit.here, "proof"), "recordings": recordings}
    if len(recordings) < 2:
        return page(request, "no_after.html", told)
    after = recordings[-1].number
    judged, proved = _judged(garage, visit)
    kept = [one for one in visit.numbers("proof") if one.document.get("after") == after]
    if not kept:
        garage.book.keep(visit.name, judged, proof_document(proved))
        visit = garage.visit(key)
    first, then = judged.recordings[:2]
    speak = words_of(request)
    shown = proof_page(proved, first, then, judged.car, speak)
    whole = {field.name: getattr(shown, field.name) for field in fields(shown)}
    plots = {
        name: plot_json(plot_in(plot, speak))
        for name, plot in proof_plots(proved, speak.told).items()
    }  # fmt: skip
    return page(
        request, "proof.html",
        {**whole, **told, "stages": stages_of(visit.here, "proof"), "plots": plots,
         "plot_words": PLOT_WORDS},
    )  # fmt: skip
