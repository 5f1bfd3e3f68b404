"""Polling rate against what the controller's latency allows, both measured in one run.

``python -m measure.poll_rate`` runs the practice car in a process of its own at 0, 5, 20 and
50 ms latency. Reached is what a capture says it polled: journal, snapshots and decoding included,
the opening's questions not. Allowed is what a bare loop gets from the same car over the same
socket: it shares no code with the package, writes ready-made frames, looks at nothing but frame
counts, and puts the *same requests in the same order* as the capture before it did, read off that
capture's rows, so that a capture that asks for less at once is not flattered. Capture and loop
take turns, so that a machine that is busier for a while slows both. Target: at least 0.9.

What the loop does between a frame read and the next one written is the tester's work too, though
small; ``loop's own`` is its share of the loop's time, by which the allowed rate is too low.
"""

import argparse
import re
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import polars as pl

from bellmouth.bus.capture import record
from bellmouth.bus.opening import open_client
from bellmouth.j1979 import parameters
from measure.results import keep

__all__ = ["bare_rate", "capture_rate", "main", "requests_of", "turns"]

BELLMOUTH = [str(Path(sys.executable).with_name("bellmouth"))]
LATENCIES_MS = (0.0, 5.0, 20.0, 50.0)
TURNS = 4
_FLOW_CONTROL = b"t7E08" + b"300000".ljust(16, b"5") + b"\r"


def requests_of(recording: Path) -> list[bytes]:
    """What a capture asked, one line for the adapter a request, read off its rows."""
    frame = pl.read_parquet(recording)
    names = [column.split(" [")[0] for column in frame.columns[1:]]
    identifiers = [parameters.by_name(name).identifier for name in names]
    lines = []
    for row in frame.iter_rows():
        pairs = zip(identifiers, row[1:], strict=True)
        asked = dict.fromkeys(one for one, value in pairs if value is not None)
        data = bytes((len(asked) + 1, 1, *asked)).ljust(8, b"\x55")
        lines.append(b"t7E08" + data.hex().upper().encode() + b"\r")
    return lines


def bare_rate(port: int, seconds: float, lines: Sequence[bytes]) -> tuple[float, float]:
    """Requests a second of a loop that does nothing else [1/s], and its own share of the time."""
    own_s = 0.0
    with socket.create_connection(("127.0.0.1", port), timeout=5.0) as wire:
        wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        wire.sendall(b"C\rS6\rO\r")
        rest = b""
        count, begun = 0, time.perf_counter()
        read_s = begun
        while read_s < begun + seconds:
            own_s += time.perf_counter() - read_s
            wire.sendall(lines[count % len(lines)])
            missing = None
            while missing is None or missing > 0:
                rest += wire.recv(4096)
                read_s = time.perf_counter()
                *complete, rest = re.split(b"[\r\x07]", rest)
                for line in complete:
                    if not line.startswith(b"t7E88"):
                        continue
                    kind = line[5:6]
                    if kind == b"1":
                        missing = int(line[6:9], 16) - 6
                        own_s += time.perf_counter() - read_s
                        wire.sendall(_FLOW_CONTROL)
                    elif kind == b"2" and missing is not None:
                        missing -= 7
                    elif kind == b"0":
                        missing = 0
            count += 1
        wire.sendall(b"C\r")
    return count / (read_s - begun), own_s / (read_s - begun)


def capture_rate(port: int, seconds: float, path: Path) -> tuple[float, float]:
    """Requests and values a second of a capture without guidance. [1/s]"""
    with open_client("slcan", f"socket://127.0.0.1:{port}", 500_000) as client:
        result = record(client, path, seconds=seconds)
    return result.requests_per_s, result.samples_per_s


def turns(port: int, seconds: float, folder: Path) -> dict[str, float]:
    """Capture and bare loop in turn, ``seconds`` each in all; means of what they reached."""
    found: list[tuple[float, ...]] = []
    for turn in range(TURNS):
        path = folder / f"{time.monotonic_ns()}-{turn}.parquet"
        reached = capture_rate(port, seconds / TURNS, path)
        found.append((*reached, *bare_rate(port, seconds / TURNS, requests_of(path))))
    means = [sum(column) / TURNS for column in zip(*found, strict=True)]
    return dict(zip(("reached", "values", "allowed", "own"), means, strict=True))


def _practice(latency_ms: float) -> tuple["subprocess.Popen[str]", int]:
    process = subprocess.Popen(  # noqa: S603 - our own command
        [*BELLMOUTH, "practice", "--latency", f"{latency_ms:g}", "--driver", "mechanic"],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None  # noqa: S101 - it was asked for
    for line in process.stdout:
        found = re.search(r"socket://127\.0\.0\.1:(\d+)", line)
        if found:
            time.sleep(2.5)  # the mechanic's hand is still on its way to the key
            return process, int(found[1])
    raise RuntimeError("the practice car did not say where it listens")


def main() -> None:
    """A row a latency: allowed, reached, ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=16.0)
    parser.add_argument("--latency", type=float, action="append")
    chosen = parser.parse_args()
    rows = []
    print("latency [ms]  allowed [1/s]  reached [1/s]  ratio  values [1/s]  loop's own")
    with tempfile.TemporaryDirectory() as folder:
        for latency in chosen.latency or LATENCIES_MS:
            process, port = _practice(latency)
            try:
                found = turns(port, chosen.seconds, Path(folder))
            finally:
                process.terminate()
                process.communicate()
            rows.append({"latency_ms": latency, **found})
            print(
                f"{latency:12g}  {found['allowed']:13.1f}  {found['reached']:13.1f}  "
                f"{found['reached'] / found['allowed']:5.2f}  {found['values']:12.0f}  "
                f"{found['own']:10.1%}",
                flush=True,
            )
    keep("poll_rate", {"rows": rows})


if __name__ == "__main__":
    main()
