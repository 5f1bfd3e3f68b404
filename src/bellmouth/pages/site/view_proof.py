"""The proof: the recording from before the work against the one from after it."""

import tempfile
from dataclasses import fields
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Form, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.errors import BellmouthError, FindingError
from bellmouth.finding.check_table import CHECKS
from bellmouth.finding.priors import read_weights
from bellmouth.finding.proof_checks import looks_of
from bellmouth.finding.prove import works
from bellmouth.pages.plot_words import PLOT_WORDS
from bellmouth.pages.plots import plot_in, plot_json
from bellmouth.pages.proof_page import proof_page, write_report
from bellmouth.pages.proof_plots import proof_plots
from bellmouth.pages.site.asked_proof import choose, chosen_pair, keep_proof, proof_asked, proved
from bellmouth.pages.site.flow import stages_of
from bellmouth.pages.site.garage import Garage, Visit
from bellmouth.pages.site.rendering import go, page, words_of
from bellmouth.pages.site.telling import fit_to_tell
from bellmouth.pages.site.view_entry import odd_checks
from bellmouth.pages.site.view_keeping import good_recordings
from bellmouth.work.works import work_titles

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_MOST_PRIOR_BYTES = 64 << 10


@router.get("/car/{key}/proof/report.html")
def report(request: Request, key: str) -> Response:
    """The proof as one page to send or print, with all its pictures in it."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    asked = proof_asked(visit)
    if asked is None:
        raise BellmouthError("A proof needs a recording from before the work and one from after.")
    judged, found = proved(garage, visit, asked)
    first, then = judged.recordings[:2]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "proof.html"
        write_report(path, found, first, then, judged.car, words_of(request))
        html = path.read_bytes()
    head = {"content-disposition": 'attachment; filename="proof.html"'}
    return Response(html, media_type="text/html", headers=head)


@router.get("/car/{key}/proof")
def proof(request: Request, key: str) -> Response:
    """Better, same, worse, or what is still needed to say."""
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    asked = proof_asked(visit)
    told = {"visit": visit, "stages": stages_of(visit.here, "proof"), **_choice(visit, asked)}
    if asked is None:
        return page(request, "no_after.html", {**told, "sentence": ""})
    try:
        judged, found = proved(garage, visit, asked)
    except FindingError as error:
        # Others can be chosen, where one of these cannot be judged.
        sentence = fit_to_tell(str(error))
        return page(request, "no_after.html", {**told, "sentence": sentence}, 400)
    if keep_proof(garage, visit, judged, found):
        visit = garage.visit(key)
    first, then = judged.recordings[:2]
    speak = words_of(request)
    shown = proof_page(found, first, then, judged.car, speak)
    whole = {field.name: getattr(shown, field.name) for field in fields(shown)}
    plots = {
        name: plot_json(plot_in(plot, speak))
        for name, plot in proof_plots(found, speak.told).items()
    }  # fmt: skip
    return page(
        request, "proof.html",
        {**whole, **told, "stages": stages_of(visit.here, "proof"), "plots": plots,
         "plot_words": PLOT_WORDS, "said_done": judged.inputs["done"],
         "odd_before": _odd_before(request, visit, asked["before"])},
    )  # fmt: skip


@router.post("/car/{key}/proof/choose")
async def chosen(
    request: Request,
    key: str,
    before: Annotated[int, Form()],
    after: Annotated[int, Form()],
    reference: Annotated[list[int] | None, Form()] = None,
    done: Annotated[list[str] | None, Form()] = None,
    looked: Annotated[list[str] | None, Form()] = None,
    own_prior: Annotated[str, Form(max_length=8)] = "",
    file: UploadFile | None = None,
) -> Response:
    """Prove other recordings, with good ones, with what was done, with what checks showed after the
    work and with own weights; kept.

    ``own_prior`` says ``keep`` where the weights of the last time are to stay.
    """
    garage: Garage = request.app.state.garage
    visit = await run_in_threadpool(garage.visit, key)
    asked: dict[str, Any] = dict(
        zip(("before", "after"), chosen_pair(visit, before, after), strict=True)
    )
    there = {one.number for one in visit.everywhere("recording")} - {before, after}
    asked["references"] = [one for one in reference or [] if one in there]
    asked["done"] = [one for one in done or [] if one in works()]
    asked["results"] = [one for one in looked or [] if one]
    if file is not None and (content := await file.read(_MOST_PRIOR_BYTES)):
        asked["prior"] = await run_in_threadpool(_weights, content)
    elif own_prior == "keep":
        asked["prior"] = (proof_asked(visit) or {}).get("prior")
    await run_in_threadpool(choose, garage, visit, asked)
    return go(f"/car/{key}/proof")


def _odd_before(request: Request, visit: Visit, recording: int) -> str:
    """What the newest finding of the recording from before the work had in it that disagreed."""
    of = [one for one in visit.everywhere("finding") if one.document["recording"] == recording]
    return odd_checks(request, of[-1]) if of else ""


def _weights(content: bytes) -> dict[str, float]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "prior.toml"
        path.write_bytes(content)
        return dict(read_weights(path))


def _choice(visit: Visit, asked: dict[str, Any] | None) -> dict[str, Any]:
    """What can be chosen, and what is: recordings of all jobs, good ones, works, own weights."""
    every = visit.everywhere("recording")
    pair = asked or ({"before": every[-2].number, "after": every[-1].number} if every[1:] else {})
    titles = work_titles()
    return {
        "recordings": every, "pair": pair, "references": pair.get("references", []),
        "good": good_recordings(visit), "own_prior": bool(pair.get("prior")),
        "works": {one: titles.get(one, "nothing was done") for one in works()},
        "done": pair.get("done", []), "results": pair.get("results", []),
        "looks": {name: CHECKS[name].outcomes for name in looks_of(visit.car.metering)},
    }  # fmt: skip
