"""What makes the page installable: the service worker, and the page for when the server is away."""

from pathlib import Path

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from bellmouth.pages.site.rendering import page

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_WORKER = Path(__file__).parents[1] / "static" / "sw.js"


@router.get("/sw.js")
def worker() -> Response:
    """The service worker, at the root because it looks after every page."""
    return FileResponse(
        _WORKER, media_type="text/javascript", headers={"cache-control": "no-cache"}
    )


@router.get("/offline")
def offline(request: Request) -> Response:
    """Shown in place of any page while the server does not answer."""
    return page(request, "offline.html", {})
