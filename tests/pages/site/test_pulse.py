"""Viewers of an attempt are woken when something moved, and not otherwise."""

import asyncio
import threading

from bellmouth.pages.site.pulse import Pulse
from bellmouth.pages.site.stream import beat_of


def test_nothing_that_is_told_while_a_viewer_is_busy_is_missed() -> None:
    async def run() -> tuple[bool, bool, bool]:
        pulse = Pulse()
        beat = beat_of(pulse)
        beat.enter()
        # What was waiting before anybody looked is one frame.
        await beat.wait(60.0, 0)
        frame = beat.count
        quiet = await beat.wait(0.0, frame)
        await asyncio.to_thread(pulse.tell)
        while beat.count == frame:
            await asyncio.sleep(0)
        # The viewer was sending meanwhile: it does not wait for the next one.
        behind = await beat.wait(60.0, frame)
        frame = beat.count
        threading.Timer(0.01, pulse.tell).start()
        woken = await beat.wait(60.0, frame)
        beat.leave()
        return quiet, behind, woken

    assert asyncio.run(run()) == (False, True, True)


def test_many_tidings_are_one_frame() -> None:
    woken: list[int] = []
    now = [10.0]
    pulse = Pulse(lambda: now[0])
    pulse.listen(lambda: woken.append(1))
    assert pulse.due_s == 0.0
    for _ in range(5):
        pulse.tell()
    assert len(woken) == 1, "until it was looked at"
    pulse.seal()
    assert pulse.due_s > 0.0, "20 times a second at most"
    pulse.tell()
    assert len(woken) == 2
    now[0] += 1.0
    assert pulse.due_s == 0.0


def test_a_server_that_is_closing_does_not_hurt_what_goes_on() -> None:
    def closed() -> None:
        raise RuntimeError("Event loop is closed")

    pulse = Pulse()
    pulse.listen(closed)
    pulse.tell()
    pulse.unlisten(closed)
