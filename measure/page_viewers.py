"""Many viewers of one capture over real connections: what each received, and what it cost.

Every viewer keeps the bytes of its connection; they are taken apart when the capture is over, so
that reading them costs nothing while the server is measured.
"""

import asyncio
import json
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from measure.page_served import Served, practice_car

__all__ = ["Watched", "events_of", "watched"]


@dataclass(frozen=True)
class Watched:
    """What came of it; samples are one value of one parameter at one time.

    ``twice`` and ``missed`` are summed over the viewers; ``share`` is of one core.
    """

    viewers: int
    seconds: float
    samples: int
    parameters: int
    missed: int
    twice: int
    strange: int
    share: float
    alone: float


def watched(served: Served, viewers: int, seconds: float) -> Watched:
    """Capture a practice car with nobody looking, then with ``viewers``. [s]"""
    with practice_car() as channel:
        car = served.car(f"Watched by {viewers}")
        served.begin(car, channel)
        alone = _share(served, min(seconds, 10.0))
        received, share = asyncio.run(_look(served, car, viewers, seconds))
    kept = _on_disk(next((served.folder / "captures").glob("*.parquet")))
    recorded = {name for _, name in kept}
    every = [_samples(one) for one in received]
    # What says how the controller stands, as its monitors do, is shown and not recorded.
    counts = [Counter(one for one in samples if one[1] in recorded) for samples in every]
    return Watched(
        viewers, seconds, len(kept), len({name for _, name in every[0]}),
        missed=sum(len(kept - set(one)) for one in counts),
        twice=sum(sum(n - 1 for n in one.values()) for one in counts),
        strange=sum(len(set(one) - kept) for one in counts),
        share=share, alone=alone,
    )  # fmt: skip


def _share(served: Served, seconds: float) -> float:
    began, used = time.monotonic(), served.cpu_s()
    time.sleep(seconds)
    return (served.cpu_s() - used) / (time.monotonic() - began)


async def _look(
    served: Served, car: str, viewers: int, seconds: float
) -> tuple[Sequence[bytes], float]:
    tasks = [asyncio.create_task(_view(served, car)) for _ in range(viewers)]
    await asyncio.sleep(1.0)
    began, used = time.monotonic(), served.cpu_s()
    await asyncio.sleep(seconds)
    share = (served.cpu_s() - used) / (time.monotonic() - began)
    await asyncio.to_thread(served.end, car)
    return await asyncio.gather(*tasks), share


async def _view(served: Served, car: str) -> bytes:
    host, _, port = served.address.removeprefix("http://").partition(":")
    reader, writer = await asyncio.open_connection(host, int(port))
    asked = f"GET {car}/record/states HTTP/1.1\r\nHost: {host}:{port}\r\nConnection: close\r\n\r\n"
    writer.write(asked.encode())
    got = await reader.read(-1)
    writer.close()
    await writer.wait_closed()
    return got


def events_of(answer: bytes) -> list[tuple[str, str]]:
    """Names and data of a chunked answer's events, in order."""
    _, _, rest = answer.partition(b"\r\n\r\n")
    body = bytearray()
    while rest:
        size, _, rest = rest.partition(b"\r\n")
        length = int(size, 16)
        body += rest[:length]
        rest = rest[length + 2 :]
    found = []
    for block in body.decode().split("\n\n"):
        told = dict(line.partition(": ")[::2] for line in block.splitlines())
        if "event" in told:
            found.append((told["event"], told["data"]))
    return found


def _samples(answer: bytes) -> list[tuple[float, str]]:
    return [
        (at_s, name)
        for event, data in events_of(answer)
        if event == "rows"
        for at_s, values in json.loads(data)
        for name in values
    ]


def _on_disk(path: Path) -> set[tuple[float, str]]:
    """Every sample that the recording holds."""
    table = pl.read_parquet(path)
    time_name, *names = table.columns
    found = set()
    for name in names:
        there = table.select(time_name, name).drop_nulls()
        found |= {(round(at_s, 6), name.rpartition(" [")[0]) for at_s in there[time_name]}
    return found
