"""The numbers of a finding's and a proof's pictures, as downloads."""

from fastapi import APIRouter
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.finding.proof_result import Proof
from bellmouth.pages.finding_plots import finding_plots
from bellmouth.pages.plots import Plot, plot_csv, plot_in
from bellmouth.pages.proof_plots import proof_plots
from bellmouth.pages.site.families import family_of_job
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import words_of
from bellmouth.pages.site.view_finding import asked_of, judged_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/car/{key}/finding/{name}.csv")
def of_finding(request: Request, key: str, name: str) -> Response:
    """What a picture of the finding shows."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    _, found = judged_of(garage, visit, asked_of(visit))
    return _answer(request, finding_plots(found, words_of(request).told), name)


@router.get("/car/{key}/proof/{name}.csv")
def of_proof(request: Request, key: str, name: str) -> Response:
    """What a picture of the proof shows."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    recordings = visit.numbers("recording")
    if len(recordings) < 2:
        raise HTTPException(404)
    judged = garage.book.judge_work(
        visit.name, recordings[0].number, recordings[-1].number, family=family_of_job(visit)
    )
    assert isinstance(judged.result, Proof)  # noqa: S101 - what judge_work makes of two
    return _answer(request, proof_plots(judged.result, words_of(request).told), name)


def _answer(request: Request, plots: dict[str, Plot], name: str) -> Response:
    if name not in plots:
        raise HTTPException(404)
    speak = words_of(request)
    text = plot_csv(plot_in(plots[name], speak), speak.told)
    return Response(text, media_type="text/csv")
