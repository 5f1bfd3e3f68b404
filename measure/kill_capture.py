"""Kill a capture without warning at random moments; every file must open and miss at most 1 s.

``python -m measure.kill_capture --times 200 --together 4`` starts captures of the simulated car
of ``tests/bus`` in processes of their own, each to CSV or Parquet, kills each with SIGKILL at a
random moment, and reads what is left.
"""

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from bellmouth.errors import RecordingError
from bellmouth.recording import read_recording

__all__ = ["Kill", "kill_one", "main"]

ROOT = Path(__file__).parents[1]
SCRIPT = ROOT / "tests" / "bus" / "capturing.py"


@dataclass(frozen=True)
class Kill:
    """One capture that was killed: when after its first poll, what was told, what is left. [s]

    ``alone_s`` is how far a Parquet file goes without the journal beside it.
    """

    after_s: float
    polled_s: float
    held_s: float
    ending: str
    alone_s: float = float("nan")
    error: str = ""

    @property
    def missing_s(self) -> float:
        """How much of what was polled is not in the file. [s]"""
        return self.polled_s - self.held_s


def kill_one(path: Path, after_s: float) -> Kill:
    """Capture to ``path``, kill so long after the first poll, read what is left."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    process = subprocess.Popen(  # noqa: S603 - our own script
        [sys.executable, str(SCRIPT), str(path)], stdout=subprocess.PIPE, env=environment
    )
    assert process.stdout is not None  # noqa: S101 - it was asked for
    process.stdout.readline()
    time.sleep(after_s)
    process.send_signal(signal.SIGKILL)
    told = process.stdout.read().split()
    process.stdout.close()
    process.wait()
    # The last line may be cut, and its poll still under way.
    polled = float(told[-2]) if len(told) > 1 else 0.0
    try:
        recording = read_recording(path)
    except RecordingError as error:
        return Kill(after_s, polled, 0.0, path.suffix, error=str(error))
    held = max(float(series.time_s[-1]) for series in recording.series.values())
    alone = float("nan")
    if path.suffix == ".parquet" and path.exists():
        alone = float(pl.read_parquet(path)["time [s]"][-1])
    return Kill(after_s, polled, held, path.suffix, alone)


def main() -> None:
    """Kill so many, some at a time, and tell the worst."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=200)
    parser.add_argument("--together", type=int, default=3)
    parser.add_argument("--longest", type=float, default=4.0)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    rng = random.Random(chosen.seed)  # noqa: S311 - a repeatable measurement
    moments = [rng.uniform(0.05, chosen.longest) for _ in range(chosen.times)]
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(chosen.together) as pool:
        paths = [
            Path(folder) / f"{n}{'.parquet' if n % 2 else '.csv'}" for n in range(chosen.times)
        ]
        kills = list(pool.map(kill_one, paths, moments))
    for ending in (".csv", ".parquet"):
        mine = [kill for kill in kills if kill.ending == ending]
        bad = [kill for kill in mine if kill.error]
        worst = max(kill.missing_s for kill in mine)
        print(
            f"{ending[1:]:8s} killed {len(mine)}, did not open {len(bad)}, "
            f"most missing {worst:.3f} s, shortest capture {min(k.polled_s for k in mine):.2f} s"
        )
        alone = [kill.polled_s - kill.alone_s for kill in mine if kill.alone_s == kill.alone_s]
        if alone:
            print(
                f"         without the journal: {len(alone)} opened, "
                f"most missing {max(alone):.3f} s"
            )
        for kill in bad:
            print(f"  after {kill.after_s:.2f} s: {kill.error}")


if __name__ == "__main__":
    main()
