"""One capture to many viewers: each gets every event, whatever the others do, and the end."""

import asyncio
import threading

from starlette.types import Message

from bellmouth.pages.site import stream
from bellmouth.pages.site.stream import EventStream, beat_of
from bellmouth.pages.site.traces import Traces
from tests.pages.site.test_traces import last_id, rows


class Viewer:
    """A connection that takes what it is sent, at its own pace, and may go away."""

    def __init__(self, pace_s: float = 0.0, leaves_after: int = 10**9) -> None:
        self.got = b""
        self.closed = False
        self._pace_s, self._left = pace_s, leaves_after
        self._gone = asyncio.Event()

    async def receive(self) -> Message:
        await self._gone.wait()
        return {"type": "http.disconnect"}

    async def send(self, message: Message) -> None:
        self.got += message.get("body", b"")
        self.closed = message["type"] == "http.response.body" and not message["more_body"]
        self._left -= 1
        if self._left == 0:
            self._gone.set()
        if self._pace_s:
            await asyncio.sleep(self._pace_s)

    async def watch(self, traces: Traces, after: str = "") -> None:
        await EventStream(traces, after)({}, self.receive, self.send)


def capture(
    traces: Traces, samples: int, pause: threading.Event, goes_on: threading.Event | None = None
) -> threading.Thread:
    """A capture in a thread of its own, as quick as it can; half way it waits for ``goes_on``."""

    def work() -> None:
        for number in range(samples):
            if goes_on is not None and number == samples // 2:
                goes_on.wait(60.0)
            traces.heard(0.001 * number, {"engine_speed": float(number)})
            pause.wait(0.0005)
        traces.tell({"phase": "ended"}, over=True)

    thread = threading.Thread(target=work)
    thread.start()
    return thread


def speeds(viewer: Viewer) -> list[int]:
    return [int(speed) for _, speed in rows(viewer.got)]


def test_quick_and_slow_viewers_get_every_sample_once_and_the_end() -> None:
    async def run() -> list[Viewer]:
        traces = Traces()
        viewers = [Viewer(), Viewer(), Viewer(pace_s=0.09), Viewer(pace_s=0.2)]
        thread = capture(traces, 400, threading.Event())
        await asyncio.gather(*(one.watch(traces) for one in viewers))
        thread.join()
        return viewers

    for viewer in asyncio.run(run()):
        assert speeds(viewer) == list(range(400))
        assert viewer.closed
        assert b'"phase":"ended"' in viewer.got


def test_one_who_leaves_and_comes_back_has_every_sample_once() -> None:
    async def run() -> tuple[Viewer, Viewer]:
        traces = Traces()
        left = threading.Event()
        thread = capture(traces, 300, threading.Event(), left)
        before, after = Viewer(leaves_after=4), Viewer()
        await before.watch(traces)
        left.set()
        await after.watch(traces, last_id(before.got))
        thread.join()
        return before, after

    before, after = asyncio.run(run())
    assert not before.closed
    assert speeds(before) + speeds(after) == list(range(300))


def test_nobody_is_woken_when_nobody_looks() -> None:
    async def run() -> None:
        traces = Traces()
        await Viewer(leaves_after=1).watch(traces)
        assert traces._wakers == []
        assert beat_of(traces) is beat_of(traces)

    asyncio.run(run())


def test_a_reading_after_a_state_is_shown_soon() -> None:
    async def run() -> Viewer:
        now = [1.0]
        traces, viewer = Traces(lambda: now[0]), Viewer()
        watching = asyncio.ensure_future(viewer.watch(traces))
        while not viewer.got:
            await asyncio.sleep(0.001)
        traces.heard(0.0, {"engine_speed": 0.0})
        while speeds(viewer) != [0]:
            await asyncio.sleep(0.001)
        # Due in 0.05 s; the state takes it along, so that the one after it is due later.
        traces.heard(0.1, {"engine_speed": 1.0})
        await asyncio.sleep(0.0)
        now[0] += 0.03
        traces.tell({"phase": "reading"})
        traces.heard(0.2, {"engine_speed": 2.0})
        await asyncio.sleep(0.0)
        now[0] += 0.02
        await asyncio.sleep(0.2)
        now[0] += 0.04
        async with asyncio.timeout(30.0):
            while speeds(viewer) != [0, 1, 2]:
                await asyncio.sleep(0.001)
        now[0] += 1.0
        traces.tell({"phase": "ended"}, over=True)
        await watching
        return viewer

    before = stream.STILL_HERE_S
    stream.STILL_HERE_S = 60.0
    try:
        assert asyncio.run(run()).closed
    finally:
        stream.STILL_HERE_S = before


def test_a_silent_capture_says_that_it_is_still_there() -> None:
    async def run() -> Viewer:
        viewer = Viewer(leaves_after=3)
        await viewer.watch(Traces())
        return viewer

    before = stream.STILL_HERE_S
    stream.STILL_HERE_S = 0.01
    try:
        # Without data a browser would not pass the event on.
        assert b"event: alive\ndata: 1\n\n" in asyncio.run(run()).got
    finally:
        stream.STILL_HERE_S = before
