"""What makes the page installable: the service worker, and the page for when the server is away."""

import functools

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.pages.site.assets import FOLDER, static
from bellmouth.pages.site.rendering import page

__all__ = ["router"]

router = APIRouter(include_in_schema=False)


@router.get("/sw.js")
def worker() -> Response:
    """The service worker, at the root because it looks after every page."""
    headers = {"cache-control": "no-cache"}
    return Response(_worker(), media_type="text/javascript", headers=headers)


@functools.cache
def _worker() -> str:
    # A shell is kept under the tag of its parts, so that a new one replaces it whole.
    text = (FOLDER / "sw.js").read_text("utf-8")
    tag = static().rpartition("/")[2]
    return text.replace('"/static/', f'"{static()}/').replace(
        "bellmouth-shell-1", f"bellmouth-{tag}"
    )


@router.get("/offline")
def offline(request: Request) -> Response:
    """Shown in place of any page while the server does not answer."""
    return page(request, "offline.html", {})
