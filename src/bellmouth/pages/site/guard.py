"""What keeps the page safe: who may ask, from where, how much, and what a browser may load.

Loopback only unless a pairing token was made; Host and Origin are checked on every request, and a
request that changes something must come from the page itself.
"""

import secrets
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from bellmouth.pages.site.rendering import page

__all__ = ["COOKIE", "POLICY", "Guard", "Settings", "dressed"]

COOKIE = "bellmouth_pairing"
#: Nothing from outside, and no script that stands in the page.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data:; "
    "connect-src 'self'; font-src 'self'; media-src 'self'; manifest-src 'self'; "
    "worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    # With no-referrer a browser would send its own forms with the origin "null".
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), screen-wake-lock=(self)",
}
_MISNAMED, _TOO_LARGE, _UNPAIRED = 421, 413, 401
#: So much is read and thrown away, so that the sentence is seen. [byte]
_DRAINED = 4 << 30
_CHANGING = ("POST", "PUT", "PATCH", "DELETE")


def dressed(answer: Response) -> Response:
    """An answer with what tells a browser to be careful with it."""
    answer.headers.update(_HEADERS)
    return answer


@dataclass(frozen=True)
class Settings:
    """Who may use the page.

    Attributes
    ----------
    hosts
        Host names and ports that a browser may call it by, such as ``127.0.0.1:8642``.
    token
        Needed as a cookie where the page is on the local network; None on loopback.
    most_bytes
        Largest upload. [byte]
    address
        What a device on the network calls the page by, such as ``http://10.0.0.5:8642``.
    codes
        Codes that pair a browser, each once.
    """

    hosts: frozenset[str]
    token: str | None = None
    most_bytes: int = 64 * 1024 * 1024
    address: str = ""
    codes: list[str] = field(default_factory=list)


class Guard:
    """ASGI middleware; see the module's docstring."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self._app = app
        self._settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or say in one sentence why not."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        refused = self._refused(request)
        if refused is not None:
            if refused[0] == _TOO_LARGE:
                await self._drained(receive)
            await self._answer(request, *refused)(scope, receive, send)
            return
        await self._measured(request, receive, send)

    def _refused(self, request: Request) -> tuple[int, str] | None:
        return self._foreign(request) or self._unfit(request)

    def _foreign(self, request: Request) -> tuple[int, str] | None:
        """Whether it came from elsewhere."""
        settings = self._settings
        if request.headers.get("host", "") not in settings.hosts:
            return _MISNAMED, (
                "This page is not called by that name. Open the address that was printed."
            )
        origin = request.headers.get("origin")
        if origin is not None and origin.split("://")[-1] not in settings.hosts:
            return 403, "This request came from another page and was refused."
        if request.method in _CHANGING:
            site = request.headers.get("sec-fetch-site", "same-origin")
            if origin is None or site not in {"same-origin", "none"}:
                return 403, "This request did not come from the page itself and was refused."
        return None

    def _unfit(self, request: Request) -> tuple[int, str] | None:
        """Whether it is too much, or from a browser that is not paired."""
        settings = self._settings
        # First of all: nothing that a stranger sends is so much as read past.
        if settings.token is not None and not self._paired(request):
            return _UNPAIRED, (
                "This browser is not paired, or was paired for another book. Have a picture shown "
                "in the terminal where the page is served, and point the camera at it."
            )
        length = request.headers.get("content-length") or "0"
        if not length.isdigit():
            return 400, "This request does not say how long it is and was refused."
        if int(length) > settings.most_bytes:
            return _TOO_LARGE, self._too_large
        return None

    def _paired(self, request: Request) -> bool:
        path = request.url.path
        # Styles, scripts and the sentence that the server is away tell nothing of any car.
        if path in {"/pair", "/offline", "/sw.js"} or path.startswith("/static/"):
            return True
        given = request.cookies.get(COOKIE, "")
        return secrets.compare_digest(given.encode(), (self._settings.token or "").encode())

    @property
    def _too_large(self) -> str:
        return f"That is more than {self._settings.most_bytes >> 20} MB. Give a shorter recording."

    def _answer(self, request: Request, status: int, sentence: str) -> Response:
        """A page where a browser shows one; a plain sentence for scripts and other programs."""
        if status == _MISNAMED or "text/html" not in request.headers.get("accept", ""):
            return PlainTextResponse(sentence + "\n", status, headers=_HEADERS)
        # What is too large came from a page of ours; what else is refused may have come from any.
        came_from = request.headers.get("referer") if status == _TOO_LARGE else None
        back = "/pair" if status == _UNPAIRED else came_from or "/"
        return dressed(page(request, "sorry.html", {"sentence": sentence, "back": back}, status))

    async def _drained(self, receive: Receive) -> None:
        """Read past what is too much: a browser shows an answer only once it has sent its form."""
        taken = 0
        while taken <= _DRAINED:
            message = await receive()
            taken += len(message.get("body", b""))
            if message["type"] != "http.request" or not message.get("more_body", False):
                return

    async def _measured(self, request: Request, receive: Receive, send: Send) -> None:
        """Let it through; a body that says it is short and is not is cut off and refused."""
        taken, begun, more = 0, False, True
        clad = self._dressed(send)

        async def counted() -> Message:
            nonlocal taken, more
            message = await receive()
            more = message["type"] == "http.request" and message.get("more_body", False)
            taken += len(message.get("body", b""))
            if taken > self._settings.most_bytes:
                return {"type": "http.disconnect"}
            return message

        async def answered(message: Message) -> None:
            nonlocal begun
            if taken <= self._settings.most_bytes:
                begun = True
                await clad(message)

        try:
            await self._app(request.scope, counted, answered)
        finally:
            if taken > self._settings.most_bytes and not begun:
                if more:
                    await self._drained(receive)
                answer = self._answer(request, _TOO_LARGE, self._too_large)
                await answer(request.scope, receive, send)

    def _dressed(self, send: Send) -> Send:
        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                there = Headers(raw=message["headers"])
                extra = [
                    (name.encode(), value.encode())
                    for name, value in _HEADERS.items()
                    if name not in there
                ]
                message = {**message, "headers": [*message["headers"], *extra]}
            await send(message)

        return dressed


Handler = Callable[[Request], Awaitable[Response]]
