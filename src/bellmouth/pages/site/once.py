"""A form that is sent twice is done once: a second tap, or the back button and the same again.

Each form of a page carries a mark in its address. The same mark with the same contents gives the
same answer, and nothing is done; with other contents it is another form.
"""

import asyncio
import hashlib
import re
import secrets
from collections import OrderedDict
from dataclasses import dataclass, field
from urllib.parse import parse_qs

from starlette.datastructures import Headers
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["Once", "marked"]

_MARK = "once"
#: Forms of a page that do something that is not to be done twice. What is meant to be sent again
#: and again, such as a practice car's pedal, says so by ``data-quiet``; settings may be too.
_FORM = re.compile(r'(<form method="post" action="(?!/settings|/pair)[^"?#]*)"(?![^>]*data-quiet)')
_PLAIN = "application/x-www-form-urlencoded"
_MOST_BYTES = 1 << 20
_KEPT = 500


def marked(html: str) -> str:
    """A page with a mark of its own in each of its forms."""
    mark = secrets.token_urlsafe(9)
    return _FORM.sub(rf'\1?{_MARK}={mark}"', html)


@dataclass
class _Sent:
    """One form: where its answer leads, once there is one."""

    done: asyncio.Event = field(default_factory=asyncio.Event)
    location: str = ""


class Once:
    """ASGI middleware; see the module's docstring."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app
        self._sent: OrderedDict[str, _Sent] = OrderedDict()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Do it, or lead to where it led before."""
        name = None
        if scope["type"] == "http" and scope["method"] == "POST":
            mark = parse_qs(scope.get("query_string", b"").decode("latin-1")).get(_MARK)
            plain = Headers(scope=scope).get("content-type", "").startswith(_PLAIN)
            if mark and plain:
                body, receive = await _read(receive)
                whole = f"{mark[0]} {scope['path']} ".encode() + body
                name = hashlib.sha256(whole).hexdigest()
        if name is None:
            await self._app(scope, receive, send)
            return
        while (before := self._sent.get(name)) is not None:
            await before.done.wait()
            if before.location:
                await RedirectResponse(before.location, 303)(scope, receive, send)
                return
        await self._first(name, scope, receive, send)

    async def _first(self, name: str, scope: Scope, receive: Receive, send: Send) -> None:
        """Do it, and keep where it leads; a form that was refused may be sent again."""
        mine = self._sent[name] = _Sent()
        while len(self._sent) > _KEPT:
            self._sent.popitem(last=False)

        async def seen(message: Message) -> None:
            if message["type"] == "http.response.start" and message["status"] == 303:
                mine.location = Headers(raw=message["headers"])["location"]
            await send(message)

        try:
            await self._app(scope, receive, seen)
        finally:
            if not mine.location:
                self._sent.pop(name, None)
            mine.done.set()


async def _read(receive: Receive) -> tuple[bytes, Receive]:
    """A body as a whole, and a way to read it again; a long one is not read to its end."""
    messages: list[Message] = []
    size = 0
    while size <= _MOST_BYTES:
        message = await receive()
        messages.append(message)
        size += len(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body", False):
            break
    body = b"".join(message.get("body", b"") for message in messages)

    async def again() -> Message:
        return messages.pop(0) if messages else await receive()

    return body, again
