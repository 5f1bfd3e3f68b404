"""The same as data: what other programs ask of the page's server. Types are the library's own."""

from typing import Any

from fastapi import APIRouter
from starlette.requests import Request

from bellmouth.book.lists import Standing
from bellmouth.pages.document import finding_document, proof_document
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.live import State

__all__ = ["router"]

router = APIRouter(prefix="/api")


@router.get("/cars")
def cars(request: Request, limit: int = 50) -> list[Standing]:
    """Cars of the book, the last touched first."""
    garage: Garage = request.app.state.garage
    return list(garage.book.cars(limit=max(1, min(limit, 1000))))


@router.get("/cars/{key}/finding")
def finding(request: Request, key: str) -> dict[str, Any]:
    """The finding of the newest recording, as ``docs/finding.schema.json`` says."""
    garage: Garage = request.app.state.garage
    judged = garage.book.judge(garage.visit(key).name)
    return finding_document(judged.result)  # type: ignore[arg-type]


@router.get("/cars/{key}/proof")
def proof(request: Request, key: str) -> dict[str, Any]:
    """The proof of the newest two recordings, as ``docs/proof.schema.json`` says."""
    garage: Garage = request.app.state.garage
    judged = garage.book.judge_work(garage.visit(key).name)
    return proof_document(judged.result)  # type: ignore[arg-type]


@router.get("/cars/{key}/capture")
def capture(request: Request, key: str) -> State | None:
    """How the capture of a car stands, nothing where none runs."""
    garage: Garage = request.app.state.garage
    live = garage.captures.get(key)
    return live.state if live is not None else None
