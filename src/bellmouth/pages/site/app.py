"""The page's application: routes, middleware, and how errors are told."""

from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from bellmouth import __version__
from bellmouth.errors import BellmouthError
from bellmouth.pages.site import (
    api,
    view_book,
    view_care,
    view_cars,
    view_chances,
    view_clear,
    view_coach,
    view_codes,
    view_counts,
    view_entry,
    view_facts,
    view_families,
    view_files,
    view_finding,
    view_keeping,
    view_known,
    view_learning,
    view_live_coach,
    view_pair,
    view_paper,
    view_plan,
    view_plots,
    view_proof,
    view_record,
    view_settings,
    view_shell,
    view_survey,
    view_work,
)
from bellmouth.pages.site.assets import Assets
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import Guard, Settings
from bellmouth.pages.site.mishaps import add_mishaps, broken, nearest, takes_forms
from bellmouth.pages.site.once import Once
from bellmouth.pages.site.rendering import go, page, warm
from bellmouth.pages.site.telling import fit_to_tell

__all__ = ["create_app"]

_MOST_FIELDS = 20


def create_app(garage: Garage, settings: Settings) -> FastAPI:
    """The application of one book."""

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        warm("first.html", "sorry.html")
        yield
        garage.close()

    app = FastAPI(
        title="Bellmouth", version=__version__, docs_url=None, redoc_url=None, lifespan=lifespan,
        openapi_url="/api/openapi.json",
    )  # fmt: skip
    app.state.garage = garage
    app.state.settings = settings
    for part in (
        view_cars, view_record, view_finding, view_work, view_coach, view_live_coach,
        view_learning, view_proof, view_book, view_keeping, view_codes, view_survey,
        view_plan, view_plots, view_pair, view_known, view_counts, view_families, view_care,
        view_clear, view_facts, view_files,
        view_settings, view_shell, view_paper, view_chances,
        view_entry, api,
    ):  # fmt: skip
        app.include_router(part.router)
    app.mount("/static", Assets(), name="static")
    app.add_exception_handler(BellmouthError, _sentence)
    app.add_exception_handler(RequestValidationError, _unfit)
    app.add_exception_handler(Exception, _broken)
    add_mishaps(app)
    app.add_middleware(Once)
    # Events go as they are: compressing would gather them.
    app.add_middleware(GZipMiddleware, compresslevel=6)
    app.add_middleware(Guard, settings=settings)
    return app


async def _sentence(request: Request, error: Exception) -> Response:
    """A mistake of the user's: one sentence, and the way back."""
    sentence = fit_to_tell(str(error), request.app.state.garage.folder)
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": sentence}, 400)
    back = request.headers.get("referer") or "/"
    return page(request, "sorry.html", {"sentence": sentence, "back": back}, 400)


async def _unfit(request: Request, error: Exception) -> Response:
    """A form that lacks something: a page names it; scripts are told field by field."""
    if request.method in {"GET", "HEAD"} and takes_forms(request):
        return go(nearest(request))
    wrong = error.errors() if isinstance(error, RequestValidationError) else []
    fields = ", ".join(dict.fromkeys(_field(one["loc"]) for one in wrong))
    sentence = fit_to_tell(
        f"Something is missing or is not what it should be: {fields}. Fill it in."
    )
    if not _is_form(request):
        # Without what was sent: it may be long, or something that JSON has no text for.
        detail = [
            {"type": one["type"], "loc": [fit_to_tell(str(part)) for part in one["loc"]],
             "msg": fit_to_tell(one["msg"])}
            for one in wrong[:_MOST_FIELDS]
        ]  # fmt: skip
        return JSONResponse({"error": sentence, "detail": detail}, 422)
    back = request.headers.get("referer") or "/"
    return page(request, "sorry.html", {"sentence": sentence, "back": back}, 422)


def _field(place: Sequence[int | str]) -> str:
    """A field by its name, not by its number among several of that name."""
    names = [one for one in place if isinstance(one, str)]
    return names[-1].replace("_", " ")


def _is_form(request: Request) -> bool:
    kind = request.headers.get("content-type", "")
    return not (request.url.path.startswith("/api/") or kind.startswith("application/json"))


async def _broken(request: Request, _: Exception) -> Response:
    return broken(request)
