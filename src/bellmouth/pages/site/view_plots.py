"""The numbers of a finding's and a proof's pictures, as downloads."""

from fastapi import APIRouter
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.pages.finding_plots import finding_plots
from bellmouth.pages.metered import as_metered
from bellmouth.pages.plots import Plot, plot_csv, plot_in
from bellmouth.pages.proof_plots import proof_plots
from bellmouth.pages.site.asked_proof import proof_asked, proved
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
    judged, found = judged_of(garage, visit, asked_of(visit))
    shown = as_metered(found, judged.car)
    return _answer(request, finding_plots(shown, words_of(request).told), name)


@router.get("/car/{key}/proof/{name}.csv")
def of_proof(request: Request, key: str, name: str) -> Response:
    """What a picture of the proof shows."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    asked = proof_asked(visit)
    if asked is None:
        raise HTTPException(404)
    _, found = proved(garage, visit, asked)
    return _answer(request, proof_plots(found, words_of(request).told), name)


def _answer(request: Request, plots: dict[str, Plot], name: str) -> Response:
    if name not in plots:
        raise HTTPException(404)
    speak = words_of(request)
    text = plot_csv(plot_in(plots[name], speak), speak.told)
    return Response(text, media_type="text/csv")
