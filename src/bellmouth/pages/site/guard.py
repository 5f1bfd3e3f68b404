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

__all__ = ["COOKIE", "POLICY", "Guard", "Settings"]

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
_CHANGING = ("POST", "PUT", "PATCH", "DELETE")


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
        refused = self._refused(Request(scope))
        if refused is not None:
            await self._answer(refused)(scope, receive, send)
            return
        await self._app(scope, self._counted(receive), self._dressed(send))

    def _refused(self, request: Request) -> tuple[int, str] | None:
        settings, host = self._settings, request.headers.get("host", "")
        if host not in settings.hosts:
            return 421, "This page is not called by that name. Open the address that was printed."
        origin = request.headers.get("origin")
        if origin is not None and origin.split("://")[-1] not in settings.hosts:
            return 403, "This request came from another page and was refused."
        if request.method in _CHANGING:
            site = request.headers.get("sec-fetch-site", "same-origin")
            if origin is None or site not in {"same-origin", "none"}:
                return 403, "This request did not come from the page itself and was refused."
        if int(request.headers.get("content-length") or 0) > settings.most_bytes:
            return (
                413,
                f"That is more than {settings.most_bytes >> 20} MB. Give a shorter recording.",
            )
        if settings.token is not None and not self._paired(request):
            return 401, "This browser is not paired. Open the address behind the picture once."
        return None

    def _paired(self, request: Request) -> bool:
        if request.url.path == "/pair":
            return True
        given = request.cookies.get(COOKIE, "")
        return secrets.compare_digest(given, self._settings.token or "")

    def _answer(self, refused: tuple[int, str]) -> Response:
        status, sentence = refused
        return PlainTextResponse(sentence + "\n", status, headers=_HEADERS)

    def _counted(self, receive: Receive) -> Receive:
        """A body that says it is short and is not is cut off."""
        taken = 0

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > self._settings.most_bytes:
                return {"type": "http.disconnect"}
            return message

        return counted

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
