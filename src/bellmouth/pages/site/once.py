"""A form that is sent twice is done once: a second tap, or the back button and the same again.

Each form of a page carries a mark in its address. The same mark with the same contents gives the
same answer, and nothing is done; with other contents it is another form.
"""

import asyncio
import re
import secrets
from collections import OrderedDict
from dataclasses import dataclass, field
from urllib.parse import parse_qs

from starlette.datastructures import Headers
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from bellmouth.pages.site.once_body import FormBody, read_body

__all__ = ["Once", "marked", "told_in"]

_MARK = "once"
#: Forms of a page that do something that is not to be done twice. What is meant to be sent again
#: and again, such as a practice car's pedal, says so by ``data-quiet``; settings may be too.
_FORM = re.compile(r'(<form method="post" action="(?!/settings|/pair)[^"?#]*)"(?![^>]*data-quiet)')
_KINDS = ("application/x-www-form-urlencoded", "multipart/form-data")
_KEPT = 500


def marked(html: str, told_in: str = "") -> str:
    """A page with a mark of its own in each of its forms.

    ``told_in`` is what the page was told in, such as ``de.us``: what somebody types into a form is
    in its language and units, whatever another page has chosen since.
    """
    mark = f"{secrets.token_urlsafe(9)}.{told_in}"
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
        mark = _mark_of(scope)
        if mark is None:
            await self._app(scope, receive, send)
            return
        body = await read_body(receive, Headers(scope=scope).get("content-type", ""))
        try:
            if body.told:
                await self._once(f"{mark} {scope['path']} {body.told}", body, scope, send)
            else:
                await self._app(scope, body.receive, send)
        finally:
            body.close()

    async def _once(self, name: str, body: FormBody, scope: Scope, send: Send) -> None:
        """Do what a form says, called by its mark, address and contents; or it was done before."""
        while (before := self._sent.get(name)) is not None:
            await before.done.wait()
            if before.location:
                await RedirectResponse(before.location, 303)(scope, body.receive, send)
                return
        await self._first(name, scope, body.receive, send)

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


def told_in(query: str) -> str:
    """What the page of a form that was sent was told in; empty where nothing says."""
    return parse_qs(query).get(_MARK, [""])[0].partition(".")[2]


def _mark_of(scope: Scope) -> str | None:
    """The mark of a page's form that is sent; None for whatever else is asked."""
    if scope["type"] != "http" or scope["method"] != "POST":
        return None
    if not Headers(scope=scope).get("content-type", "").startswith(_KINDS):
        return None
    mark = parse_qs(scope.get("query_string", b"").decode("latin-1")).get(_MARK)
    return mark[0] if mark else None
