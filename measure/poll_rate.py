"""Polling rate against what the controller's latency allows, both measured in one run.

``python -m measure.poll_rate`` runs the practice car in a process of its own at 0, 5, 20 and
50 ms latency. What the latency allows is measured by a bare loop that writes ready-made frames
to the same socket and waits for the reply's last frame; what a capture reaches, by the capture
itself asking for as many parameters a request. Target: at least 0.9.
"""

import argparse
import re
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from bellmouth.bus.capture import record
from bellmouth.bus.opening import open_client
from measure.results import keep

__all__ = ["bare_rate", "capture_rate", "main"]

BELLMOUTH = [str(Path(sys.executable).with_name("bellmouth"))]
LATENCIES_MS = (0.0, 5.0, 20.0, 50.0)
# Engine speed, airflow, pressure, quick trim, throttle, slow trim: what a capture asks most.
IDENTIFIERS = (0x0C, 0x10, 0x0B, 0x06, 0x11, 0x07)


def bare_rate(port: int, seconds: float) -> float:
    """Requests a second of a loop that does nothing else. [1/s]"""
    request = bytes((len(IDENTIFIERS) + 1, 1, *IDENTIFIERS)).ljust(8, b"\x55")
    ask = b"t7E08" + request.hex().upper().encode() + b"\r"
    go_on = b"t7E08" + b"300000".ljust(16, b"5") + b"\r"
    with socket.create_connection(("127.0.0.1", port), timeout=5.0) as wire:
        wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        wire.sendall(b"C\rS6\rO\r")
        rest = b""
        count, until = 0, time.monotonic() + seconds
        while time.monotonic() < until:
            wire.sendall(ask)
            missing = None
            while missing is None or missing > 0:
                rest += wire.recv(4096)
                *lines, rest = re.split(b"[\r\x07]", rest)
                for line in lines:
                    if not line.startswith(b"t7E88"):
                        continue
                    kind = line[5:6]
                    if kind == b"1":
                        missing = int(line[6:9], 16) - 6
                        wire.sendall(go_on)
                    elif kind == b"2" and missing is not None:
                        missing -= 7
                    elif kind == b"0":
                        missing = 0
            count += 1
        wire.sendall(b"C\r")
    return count / seconds


def capture_rate(port: int, seconds: float, folder: Path) -> tuple[float, float]:
    """Requests and values a second of a capture without guidance. [1/s]"""
    with open_client("slcan", f"socket://127.0.0.1:{port}", 500_000) as client:
        result = record(client, folder / f"{time.monotonic_ns()}.parquet", seconds=seconds)
    return result.requests_per_s, result.samples_per_s


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
    parser.add_argument("--seconds", type=float, default=8.0)
    parser.add_argument("--latency", type=float, action="append")
    chosen = parser.parse_args()
    rows = []
    print("latency [ms]  allowed [1/s]  reached [1/s]  ratio  values [1/s]")
    with tempfile.TemporaryDirectory() as folder:
        for latency in chosen.latency or LATENCIES_MS:
            process, port = _practice(latency)
            try:
                allowed = bare_rate(port, chosen.seconds / 2)
                reached, values = capture_rate(port, chosen.seconds, Path(folder))
                allowed = 0.5 * (allowed + bare_rate(port, chosen.seconds / 2))
            finally:
                process.terminate()
                process.communicate()
            rows.append({"latency_ms": latency, "allowed": allowed, "reached": reached})
            print(
                f"{latency:12g}  {allowed:13.1f}  {reached:13.1f}  {reached / allowed:5.2f}"
                f"  {values:12.0f}",
                flush=True,
            )
    keep("poll_rate", {"rows": rows})


if __name__ == "__main__":
    main()
