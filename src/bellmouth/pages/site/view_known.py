"""What the program knows of: causes, checks, learning procedures, and a procedure of your own."""

import tempfile
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from bellmouth.errors import BellmouthError
from bellmouth.finding.causes import CAUSES
from bellmouth.finding.check_table import CHECKS
from bellmouth.learning import packs, read_procedure
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.coach_paper import lengths
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.rendering import go, page, words_of
from bellmouth.pages.words import cause_words, unit_words

__all__ = ["router"]

router = APIRouter(include_in_schema=False)

_MOST_BYTES = 256 << 10


@router.get("/known")
def known(request: Request) -> Response:
    """Every cause a finding can name, every check it can suggest, every procedure."""
    causes = [("healthy", cause_words("healthy"), "")]
    causes += [(one.name, cause_words(one.name), unit_words(one.unit)) for one in CAUSES.values()]
    causes.append(("unexplained", cause_words("unexplained"), ""))
    garage: Garage = request.app.state.garage
    told = {
        "causes": causes, "checks": list(CHECKS.values()), "packs": packs(),
        "own": garage.procedures.all(),
    }  # fmt: skip
    return page(request, "known.html", told)


@router.get("/known/procedure/{name}")
def procedure(request: Request, name: str) -> Response:
    """A procedure in full, without a car."""
    garage: Garage = request.app.state.garage
    found = garage.procedures.find(name)
    return _shown(request, found, own=False, kept=found in garage.procedures.all())


def _shown(request: Request, found: Procedure, *, own: bool, kept: bool) -> Response:
    told = {"lengths": lengths(words_of(request), found), "own": own, "kept": kept}
    return page(request, "known_procedure.html", {"procedure": found, **told})


@router.post("/known/procedure")
async def own(
    request: Request, file: UploadFile, keep: Annotated[str, Form(max_length=8)] = ""
) -> Response:
    """A procedure file of one's own: whether it holds together and can be met; kept if asked."""
    garage: Garage = request.app.state.garage
    content = await file.read(_MOST_BYTES + 1)
    if len(content) > _MOST_BYTES:
        raise BellmouthError("A procedure file is at most 256 KB of TOML.")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "procedure.toml"
        path.write_bytes(content)
        read = await run_in_threadpool(read_procedure, path)
    if keep:
        await run_in_threadpool(garage.procedures.add, content, read)
        return go(f"/known/procedure/{read.name}")
    return _shown(request, read, own=True, kept=False)


@router.post("/known/procedure/{name}/drop")
def drop(request: Request, name: str) -> Response:
    """Keep a procedure of one's own no longer; attempts at it stay in their books."""
    garage: Garage = request.app.state.garage
    garage.procedures.drop(name)
    return go("/known#procedures")
