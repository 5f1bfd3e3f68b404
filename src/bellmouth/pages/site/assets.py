"""Styles, scripts and pictures of the page: read once, compressed once, kept by the browser.

They stand under an address that changes with what is in them, so that a browser may keep them for
good and yet never shows a new page in an old dress. Without that part of the address they are
served too, and asked for again each time.
"""

import functools
import gzip
import hashlib
import mimetypes
import re
from dataclasses import dataclass
from pathlib import Path

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

__all__ = ["FOLDER", "Assets", "static"]

# Not every machine knows them.
mimetypes.add_type("application/manifest+json", ".webmanifest")
mimetypes.add_type("text/javascript", ".js")

FOLDER = Path(__file__).parents[1] / "static"
#: Every page wants both, so they are one file to a browser.
_JOINED = {"look.css": ("page.css", "site.css")}
_TAG = re.compile(r"[0-9a-f]{12}/")
_FOR_GOOD = "public, max-age=31536000, immutable"
#: Worth the trouble where it saves a tenth.
_SAVES = 0.9


@dataclass(frozen=True)
class _Asset:
    data: bytes
    packed: bytes | None
    media_type: str
    etag: str


@functools.cache
def _assets() -> dict[str, _Asset]:
    files = {
        path.relative_to(FOLDER).as_posix(): path.read_bytes()
        for path in sorted(FOLDER.rglob("*")) if path.is_file()
    }  # fmt: skip
    for name, parts in _JOINED.items():
        files[name] = b"".join(files[part] for part in parts)
    return {name: _asset(name, data) for name, data in files.items()}


def _asset(name: str, data: bytes) -> _Asset:
    packed = gzip.compress(data, 9, mtime=0)
    return _Asset(
        data,
        packed if len(packed) < _SAVES * len(data) else None,
        mimetypes.guess_type(name)[0] or "application/octet-stream",
        hashlib.sha256(data).hexdigest()[:16],
    )


@functools.cache
def _tag() -> str:
    told = "".join(f"{name}:{one.etag};" for name, one in _assets().items())
    return hashlib.sha256(told.encode()).hexdigest()[:12]


def static() -> str:
    """The address under which everything is kept for good, such as ``/static/0123456789ab``."""
    return f"/static/{_tag()}"


class Assets:
    """ASGI application over all of them, for ``/static``."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request; 404 where there is no such file."""
        if scope["method"] not in {"GET", "HEAD"}:
            raise HTTPException(405, headers={"allow": "GET, HEAD"})
        given = scope["path"].removeprefix(scope.get("root_path", "")).lstrip("/")
        name = _TAG.sub("", given, count=1) if _TAG.match(given) else given
        asset = _assets().get(name)
        if asset is None:
            raise HTTPException(404)
        await _answer(asset, Headers(scope=scope), given)(scope, receive, send)


def _answer(asset: _Asset, asked: Headers, given: str) -> Response:
    packed = asset.packed if "gzip" in asked.get("accept-encoding", "") else None
    # What is packed is other bytes, so it has another name.
    etag = f'"{asset.etag}{"-gz" if packed else ""}"'
    headers = {
        "cache-control": _FOR_GOOD if given.startswith(f"{_tag()}/") else "no-cache",
        "etag": etag,
        "vary": "accept-encoding",
    }
    if etag in [
        one.strip().removeprefix("W/") for one in asked.get("if-none-match", "").split(",")
    ]:
        return Response(status_code=304, headers=headers)
    if packed is not None:
        headers["content-encoding"] = "gzip"
    return Response(packed or asset.data, headers=headers, media_type=asset.media_type)
