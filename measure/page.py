"""The page's speed in a real browser: ``python -m measure.page``.

Server, practice car and browser are processes of their own on this machine and share its cores,
so a busy machine makes every time longer. What does not depend on that is told too: processor time,
and the same for an empty page of the same server, opened in turn with the first one.
"""

import argparse
import os
import re
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import httpx2
import numpy as np
from playwright.sync_api import Browser

from bellmouth.pages.site.assets import static
from measure.page_browser import SLOWER, First, Picture, chrome, first_page, picture
from measure.page_cues import cue_errors_ms
from measure.page_served import Served, practice_car, serving
from measure.page_viewers import Watched, watched
from measure.tables import heading, number, table, target

__all__ = ["main"]

_CARS = 20


def main(arguments: list[str] | None = None) -> int:
    """Print the figures, then each target: met or missed."""
    parser = argparse.ArgumentParser(prog="python -m measure.page", description=__doc__)
    parser.add_argument("--loads", type=int, default=9, help="times that the first page is opened")
    parser.add_argument("--seconds", type=float, default=20.0, help="of each live measurement")
    parser.add_argument("--viewers", type=int, default=50)
    asked = parser.parse_args(arguments)
    lines: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        with serving(Path(folder)) as served, chrome() as program:
            for one in range(_CARS):
                served.car(f"Car {one}")
            lines += _first(program, served, asked.loads)
            lines += _pictures(program, served, asked.seconds)
            lines += _cues(program, served, asked.seconds)
        with serving(Path(folder) / "watched") as served:
            lines += _viewers(watched(served, asked.viewers, asked.seconds))
    print(heading("Targets"))
    print("\n".join(lines))
    busy = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    print(f"load of this machine over 1, 5 and 15 minutes: {busy}, on {os.cpu_count()} cores")
    return 0


def _first(program: Browser, served: Served, loads: int) -> list[str]:
    empty, first = [], []
    for _ in range(loads):
        empty.append(first_page(program, f"{served.address}/measure/empty"))
        first.append(first_page(program, served.address))
    print(heading(f"The first page with an empty cache, {SLOWER} times slower, {loads} times"))
    header = ("page", "interactive, ms", "least", "most", "first paint", "shift", "requests", "KiB")
    print(table(header, [_row("first page", first), _row("an empty page", empty)]))
    shell = _shell_bytes(served.address)
    print(f"and for the time without a server, afterwards: {shell / 1024:.1f} KiB")
    median = float(np.median([one.interactive_ms for one in first]))
    return [
        target("first page interactive [ms], median", median, 1000, at_least=False, digits=0),
        target(
            "first page transferred [KiB]", max(one.bytes for one in first) / 1024, 200,
            at_least=False, digits=1,
        ),
    ]  # fmt: skip


def _row(name: str, loads: Sequence[First]) -> list[str]:
    took = [one.interactive_ms for one in loads]
    return [
        name, number(float(np.median(took)), 0), number(min(took), 0), number(max(took), 0),
        number(float(np.nanmedian([one.paint_ms for one in loads])), 0),
        number(max(one.shift for one in loads), 3), str(loads[0].requests),
        number(max(one.bytes for one in loads) / 1024, 1),
    ]  # fmt: skip


def _shell_bytes(address: str) -> int:
    """What the service worker fetches when it is installed, as it goes over the wire."""
    worker = httpx2.get(f"{address}/sw.js").text
    parts = {"/offline", *re.findall(rf'"({re.escape(static())}/[^"]+\.\w+)"', worker)}
    total = 0
    for part in parts:
        with httpx2.stream("GET", f"{address}{part}") as answer:
            total += len(b"".join(answer.iter_raw()))
    return total


def _pictures(program: Browser, served: Served, seconds: float) -> list[str]:
    with practice_car() as channel:
        car = served.car("Looked at")
        served.begin(car, channel)
        # A minute fills the picture; the first look on takes some of it.
        plain = picture(program, served, car, seconds, 1)
        slow = picture(program, served, car, seconds, SLOWER)
        served.end(car)
    print(heading(f"The live picture, {plain.parameters} parameters, for {seconds:g} s"))
    header = (
        "processor", "frames a second", "95 % sooner than, ms", "late, ms: 50 %", "95 %", "99 %",
        "KiB a second", "processor time a frame, ms",
    )  # fmt: skip
    rows = [_drawn("as it is", plain), _drawn(f"{SLOWER} times slower", slow)]
    print(table(header, rows))
    late = float(np.percentile(plain.late_ms, 95))
    return [
        target("parameters", plain.parameters, 30, at_least=True, digits=0),
        target("frames a second", plain.frames_per_s, 10, at_least=True, digits=1),
        target(
            f"frames a second, {SLOWER} times slower", slow.frames_per_s, 10,
            at_least=True, digits=1,
        ),
        target("signal to screen, 95 % [ms]", late, 150, at_least=False, digits=0),
    ]  # fmt: skip


def _drawn(name: str, one: Picture) -> list[str]:
    late = [number(float(np.percentile(one.late_ms, share)), 0) for share in (50, 95, 99)]
    return [
        name, number(one.frames_per_s, 1), number(one.slowest_ms, 0), *late,
        number(one.bytes_per_s / 1024, 1), number(one.cpu_ms, 1),
    ]  # fmt: skip


def _cues(program: Browser, served: Served, seconds: float) -> list[str]:
    errors = cue_errors_ms(program, served, seconds)
    print(heading(f"The coach's tones on the audio clock, {SLOWER} times slower"))
    rows = [
        [f"{share:g} %", number(float(np.percentile(errors, share)))] for share in (50, 99, 100)
    ]
    print(table((f"{errors.size} cues", "no further off than, ms"), rows))
    within = float((errors <= 10.0).mean())
    return [target("cues within 10 ms, share", within, 0.99, at_least=True)]


def _viewers(one: Watched) -> list[str]:
    print(heading(f"{one.viewers} viewers of one capture for {one.seconds:g} s"))
    header = ("what", "figure")
    rows = [
        ["samples on disk", str(one.samples)],
        ["parameters", str(one.parameters)],
        ["missed, all viewers together", str(one.missed)],
        ["twice", str(one.twice)],
        ["not on disk", str(one.strange)],
        ["the server's share of a core", number(one.share)],
        ["the same with nobody looking", number(one.alone)],
    ]
    print(table(header, rows))
    wrong = one.missed + one.twice + one.strange
    return [
        target("samples missed, twice or made up", wrong, 0, at_least=False, digits=0),
        target("cores of the server", one.share, 1, at_least=False, digits=2),
    ]


if __name__ == "__main__":
    sys.exit(main())
