"""Eight hours of capture on a clock of its own: memory flat, no drift between car and recording.

``python -m measure.soak_capture --hours 8``. The simulated client of ``tests/bus`` stands in for a
car; every sample's true car time is known, and what was recorded is compared with it.
"""

import argparse
import gc
import resource
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import polars as pl

from bellmouth.bus.capture import Progress, record
from bellmouth.bus.reports import Sample
from tests.bus.simulated import SimulatedClient

__all__ = ["main"]

_MIB = 1024.0 * 1024.0


class _Watched(SimulatedClient):
    """Remembers the car's own time of every hundredth reading of engine speed."""

    def __init__(self) -> None:
        super().__init__(latency_s=0.05)
        self.began = self.now
        self.true_s: list[float] = []
        self.read_count = 0

    def read(
        self, identifiers: Sequence[int], controller: int | None = None, *, then: Sequence[int] = ()
    ) -> Sample:
        sample = super().read(identifiers, controller, then=then)
        self.requests.clear()  # what the stand-in remembers is not the capture's memory
        self.read_count += 1
        if self.read_count % 100 == 0:
            self.true_s.append(sample.time_s - self.began)
        return sample


def _memory_mib() -> float:
    """Memory of this process now. [MiB]"""
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text("utf-8").split()[1])
    return pages * resource.getpagesize() / _MIB


def main(arguments: list[str] | None = None) -> int:
    """Capture, then say how memory and times went."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=8.0)
    hours = parser.parse_args(arguments).hours
    client = _Watched()
    client.step = "idle"
    marks: list[tuple[float, float]] = []

    def look(progress: Progress) -> None:
        if not marks or progress.seconds - marks[-1][0] >= 1800.0:
            marks.append((progress.seconds, _memory_mib()))

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.parquet"
        done = record(
            client, path, seconds=3600.0 * hours, clock=client.clock, wait=client.wait,  # type: ignore[arg-type]
            progress=look,
        )  # fmt: skip
        frame = pl.read_parquet(path)
    after = [mib for seconds, mib in marks if seconds >= 3600.0]
    times = frame["time [s]"].to_numpy()
    true = np.array(client.true_s)
    place = np.clip(np.searchsorted(times, true), 1, len(times) - 1)
    nearest = np.minimum(np.abs(times[place] - true), np.abs(times[place - 1] - true))
    print(f"{hours:g} h, {client.read_count} requests, {frame.height} rows, {done.path.name}")
    print("memory [MiB] by hour: " + ", ".join(f"{s / 3600:.1f}: {m:.1f}" for s, m in marks))
    print(f"growth after the first hour: {max(after) - after[0]:.1f} MiB (at most 10)")
    print(f"largest difference of recorded and car time: {1e3 * nearest.max():.3f} ms (at most 5)")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
