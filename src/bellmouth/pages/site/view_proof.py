"""The proof: the recording from before the work against the one from after it."""

from dataclasses import fields

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.finding.proof_result import Proof
from bellmouth.pages.document import proof_document
from bellmouth.pages.plot_words import PLOT_WORDS
from bellmouth.pages.plots import plot_in, plot_json
from bellmouth.pages.proof_page import proof_page
from bellmouth.pages.proof_plots import proof_plots
from bellmouth.pages.site.families import family_of_job
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import page, words_of

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/car/{key}/proof")
def proof(request: Request, key: str) -> Response:
    """Better, same, worse, or what is still needed to say."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    recordings = visit.numbers("recording")
    told = {"visit": visit, "stages": stages_of(visit.here, "proof"), "recordings": recordings}
    if len(recordings) < 2:
        return page(request, "no_after.html", told)
    before, after = recordings[0].number, recordings[-1].number
    judged = garage.book.judge_work(visit.name, before, after, family=family_of_job(visit))
    assert isinstance(judged.result, Proof)  # noqa: S101 - what judge_work makes of two
    kept = [one for one in visit.numbers("proof") if one.document.get("after") == after]
    if not kept:
        garage.book.keep(visit.name, judged, proof_document(judged.result))
        visit = garage.visit(key)
    first, then = judged.recordings[:2]
    speak = words_of(request)
    shown = proof_page(judged.result, first, then, judged.car, speak)
    whole = {field.name: getattr(shown, field.name) for field in fields(shown)}
    plots = {
        name: plot_json(plot_in(plot, speak))
        for name, plot in proof_plots(judged.result, speak.told).items()
    }  # fmt: skip
    return page(
        request, "proof.html",
        {**whole, **told, "stages": stages_of(visit.here, "proof"), "plots": plots,
         "plot_words": PLOT_WORDS},
    )  # fmt: skip
