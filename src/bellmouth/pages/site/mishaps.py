"""What a person is told where the disk refuses, or an address is asked for in the wrong way.

A form's own address shows nothing: whoever comes to it by reloading, by a tab that a telephone had
put away, or by changing the language on a refusal, is led to the page that the form stands on.
"""

import errno
from urllib.parse import quote

from fastapi import FastAPI
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Match

from bellmouth.pages.site.guard import dressed
from bellmouth.pages.site.rendering import go, page

__all__ = ["add_mishaps", "broken", "nearest", "takes_forms"]

_FULL, _CLOSED = (
    "The disk is full. Make room and do it again; what was kept before is unharmed.",
    "The server may not write in its folder. Ask for permission there, or start it with another "
    "--book; what was kept before is unharmed.",
)
_FAILED = "The disk could not be read or written. Check it; what was kept before is unharmed."
_MANY = "The server has too many files open at once. Do it again in a minute."
_BY_ERRNO = {
    errno.ENOSPC: _FULL, errno.EDQUOT: _FULL, errno.EFBIG: _FULL,
    errno.EACCES: _CLOSED, errno.EPERM: _CLOSED, errno.EROFS: _CLOSED,
    errno.EIO: _FAILED, errno.EMFILE: _MANY, errno.ENFILE: _MANY,
}  # fmt: skip
_NO_PAGE, _NO_FORM = (
    "There is no such page.",
    "What was sent could not be read as a form. Go back and send it again.",
)
_NO_ROOM, _NOT_FOUND, _NOT_SO = 507, 404, 405
#: Parts of an address before what it says of a car.
_OF_A_CAR = 2


def add_mishaps(app: FastAPI) -> None:
    """Have an application tell them."""
    app.add_exception_handler(OSError, _refused_by_disk)
    app.add_exception_handler(HTTPException, _asked_wrongly)


def broken(request: Request) -> Response:
    """A fault of ours: the log has it; what is on the disk is whole."""
    sentence = "Something broke here, which is our fault. What was recorded and kept is on disk."
    # It is told outside of all that guards the page, so it is dressed here.
    return dressed(_told(request, sentence, 500))


def _refused_by_disk(request: Request, error: Exception) -> Response:
    sentence = _BY_ERRNO.get(getattr(error, "errno", None) or 0)
    if sentence is None:
        raise error
    return _told(request, sentence, _NO_ROOM)


def _asked_wrongly(request: Request, error: Exception) -> Response:
    """No such page, no such form, or a form's address looked at instead of sent to."""
    status = error.status_code if isinstance(error, HTTPException) else 400
    if isinstance(error.__cause__, OSError) and error.__cause__.errno in _BY_ERRNO:
        # A large form is put on the disk while it comes.
        return _refused_by_disk(request, error.__cause__)
    if status == _NOT_SO and request.method in {"GET", "HEAD"} and not _for_programs(request):
        return go(nearest(request))
    nowhere = "There is no such address." if _for_programs(request) else _NO_PAGE
    sentences = {_NOT_FOUND: nowhere, _NOT_SO: "That address does nothing of the kind."}
    answer = _told(request, sentences.get(status, _NO_FORM), status)
    answer.headers.update(getattr(error, "headers", None) or {})
    return answer


def _told(request: Request, sentence: str, status: int) -> Response:
    if _for_programs(request):
        return JSONResponse({"error": sentence}, status)
    back = request.headers.get("referer") or "/" if status == _NO_ROOM else "/"
    return page(request, "sorry.html", {"sentence": sentence, "back": back}, status)


def _for_programs(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def takes_forms(request: Request) -> bool:
    """Whether a form is sent to the address that was asked for."""
    return _leads_somewhere(request, request.url.path, "POST")


def nearest(request: Request) -> str:
    """The page that a form's address stands under; of a car its recording, else the first one."""
    parts = request.url.path.split("/")
    for length in range(len(parts) - 1, 1, -1):
        path = "/".join(parts[:length])
        if _leads_somewhere(request, path, "GET"):
            return quote(path)
    car = parts[1:2] == ["car"] and len(parts) > _OF_A_CAR
    return quote(f"/car/{parts[2]}/record") if car else "/"


def _leads_somewhere(request: Request, path: str, method: str) -> bool:
    scope = {**request.scope, "path": path, "method": method}
    return any(one.matches(scope)[0] is Match.FULL for one in request.app.routes)
