"""The same as data: what other programs ask of the page's server. Types are the library's own."""

from typing import Any

from fastapi import APIRouter
from starlette.requests import Request

from bellmouth.book.lists import Standing
from bellmouth.pages.document import finding_document, proof_document
from bellmouth.pages.site.asked_proof import proof_asked, proved
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.live import State
from bellmouth.pages.site.view_finding import asked_of, judged_of

__all__ = ["router"]

router = APIRouter(prefix="/api")


@router.get("/cars")
def cars(request: Request, limit: int = 50) -> list[Standing]:
    """Cars of the book, the last touched first."""
    garage: Garage = request.app.state.garage
    return list(garage.book.cars(limit=max(1, min(limit, 1000))))


@router.get("/cars/{key}/finding")
def finding(request: Request, key: str) -> dict[str, Any]:
    """The finding as the page shows it, as ``docs/finding.schema.json`` says.

    Where the newest job has no recording, of the newest recording.
    """
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    if visit.numbers("recording"):
        return finding_document(judged_of(garage, visit, asked_of(visit))[1])
    return finding_document(garage.book.judge(visit.name).result)


@router.get("/cars/{key}/proof")
def proof(request: Request, key: str) -> dict[str, Any]:
    """The proof as the page shows it, as ``docs/proof.schema.json`` says.

    Where the newest job has none, of the newest two recordings.
    """
    garage: Garage = request.app.state.garage
    visit = garage.visit(key)
    asked = proof_asked(visit)
    if asked is not None:
        return proof_document(proved(garage, visit, asked)[1])
    return proof_document(garage.book.judge_work(visit.name).result)


@router.get("/cars/{key}/capture")
def capture(request: Request, key: str) -> State | None:
    """How the capture of a car stands, nothing where none runs."""
    garage: Garage = request.app.state.garage
    live = garage.captures.get(key)
    return live.state if live is not None else None
