"""What goes on, sent to many viewers: server-sent events, and what wakes them all together."""

import asyncio
from collections.abc import Callable, MutableMapping
from typing import Protocol
from weakref import WeakKeyDictionary

from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from bellmouth.pages.site.traces import Traces

__all__ = ["Beat", "EventStream", "Source", "beat_of"]

#: Told so often where nothing else is, so that both ends notice a connection that is dead. [s]
STILL_HERE_S = 2.0
# Without data a browser would pass it over.
_STILL_HERE = b"event: alive\ndata: 1\n\n"
#: A browser that lost the connection comes back after this. [ms]
_AGAIN = b"retry: 1000\n\n"


class Source(Protocol):
    """Something that goes on, frame by frame. Safe to call from several threads."""

    @property
    def due_s(self) -> float:
        """When the next frame is to be made, from now on. [s]"""
        ...

    def seal(self) -> None:
        """Make a frame of what is there."""
        ...

    def listen(self, wake: Callable[[], None]) -> None:
        """Have ``wake`` called, from any thread, whenever something new begins to wait."""
        ...

    def unlisten(self, wake: Callable[[], None]) -> None:
        """Call it no more."""
        ...


class Beat:
    """Wakes all viewers of a source together, when a frame is ready and not otherwise.

    Belongs to the event loop that it is made in.
    """

    def __init__(self, source: Source) -> None:
        self.loop = asyncio.get_running_loop()
        self._source = source
        self._next: asyncio.Future[None] = self.loop.create_future()
        self._timer: asyncio.TimerHandle | None = None
        self._viewers = 0
        #: Frames so far.
        self.count = 0

    async def wait(self, longest_s: float, seen: int | None = None) -> bool:
        """Until the next frame is ready, the one after ``seen`` where that is given: whether one
        is, before the time is up. [s]"""
        if seen is not None and seen != self.count:
            return True
        done, _ = await asyncio.wait([self._next], timeout=longest_s)
        return bool(done)

    def enter(self) -> None:
        """One viewer more."""
        self._viewers += 1
        if self._viewers == 1:
            self._source.listen(self._heard)
            # What was waiting already woke nobody.
            self._due()

    def leave(self) -> None:
        """One viewer less; nobody is woken when nobody looks."""
        self._viewers -= 1
        if self._viewers == 0:
            self._source.unlisten(self._heard)

    def _heard(self) -> None:
        self.loop.call_soon_threadsafe(self._due)

    def _due(self) -> None:
        if self._timer is None:
            self._timer = self.loop.call_later(self._source.due_s, self._strike)

    def _strike(self) -> None:
        self._timer = None
        if self._source.due_s > 0.0:
            # A state that came meanwhile took the readings before it along: what waits now is due
            # later, and would wake nobody any more.
            self._due()
            return
        self._source.seal()
        self.count += 1
        self._next.set_result(None)
        self._next = self.loop.create_future()


_beats: MutableMapping[Source, Beat] = WeakKeyDictionary()


def beat_of(source: Source) -> Beat:
    """The beat of a source in the running event loop, shared by its viewers."""
    there = _beats.get(source)
    if there is None or there.loop is not asyncio.get_running_loop():
        there = _beats[source] = Beat(source)
    return there


class EventStream(Response):
    """A capture's events for one viewer, from where it left off until the capture is over.

    ``after`` is the identity of the last event that the viewer had, empty for a new one.
    """

    media_type = "text/event-stream"

    def __init__(self, traces: Traces, after: str) -> None:
        super().__init__(headers={"cache-control": "no-store"})
        del self.headers["content-length"]
        self._traces, self._after = traces, after

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send until the viewer is gone."""
        del scope
        await send({"type": "http.response.start", "status": 200, "headers": self.raw_headers})
        sending = asyncio.ensure_future(self._sent(send))
        gone = asyncio.ensure_future(_gone(receive))
        try:
            await asyncio.wait([sending, gone], return_when=asyncio.FIRST_COMPLETED)
        finally:
            for one in (sending, gone):
                one.cancel()
        await asyncio.gather(sending, gone, return_exceptions=True)

    async def _sent(self, send: Send) -> None:
        traces, beat = self._traces, beat_of(self._traces)
        beat.enter()
        try:
            seen, first = traces.begin(self._after)
            await _more(send, _AGAIN + first)
            while True:
                over = traces.over
                new = traces.since(seen)
                if new is None:
                    # Too slow for what is kept: begins anew, and is told so.
                    new = traces.begin(f"{traces.token}-{seen}")
                seen, events = new
                if events:
                    await _more(send, events)
                elif over:
                    break
                elif not await beat.wait(STILL_HERE_S):
                    await _more(send, _STILL_HERE)
            await send({"type": "http.response.body", "body": b"", "more_body": False})
        finally:
            beat.leave()


async def _more(send: Send, body: bytes) -> None:
    # Comes back only when the viewer's socket has taken it: that is all the pacing there is.
    await send({"type": "http.response.body", "body": body, "more_body": True})


async def _gone(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass
