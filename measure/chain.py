"""The whole chain with no car: practice, record and find in three processes, seed after seed.

``python -m measure.chain --seeds 20 --together 4`` prints a row a seed: the likeliest cause, the
size and its 90 % interval, and whether the true size lies in it.
"""

import argparse
import json
import re
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

__all__ = ["main", "one"]

BELLMOUTH = [str(Path(sys.executable).with_name("bellmouth"))]
LONGEST_S = 420
TRIES = 3


def one(seed: int, fault: str, size: float, speed: float) -> tuple[int, str, float, str]:
    """One car from practice to finding: seed, first cause and its probability, size with words."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        practice = _practice(place, seed, fault, size, speed)
        try:
            channel = _channel(practice)
            if channel is None:
                return seed, "none", 0.0, "the practice car did not say where it listens"
            out = place / "rec.parquet"
            record = [*BELLMOUTH, "record", "--channel", channel, "--car", str(place / "car.toml")]
            for _ in range(TRIES):  # its mechanic takes a moment to switch the ignition on
                done = subprocess.run(  # noqa: S603 - our own commands
                    [*record, "-o", str(out)], capture_output=True, text=True, timeout=LONGEST_S,
                    check=False,
                )  # fmt: skip
                if not done.returncode:
                    break
        finally:
            practice.terminate()
            practice.communicate()
        if done.returncode:
            return seed, "none", 0.0, done.stderr.strip().splitlines()[-1]
        found = subprocess.run(  # noqa: S603
            [*BELLMOUTH, "find", str(out), "--car", str(place / "car.toml"), "--json"],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
    first = json.loads(found.stdout)["causes"][0]
    told = first["sizes"].get(fault)
    if told is None:
        return seed, first["cause"], first["probability"], "another cause"
    inside = "inside" if told["low"] <= size <= told["high"] else "outside"
    words = f"{told['value']:.2f} ({told['low']:.2f} to {told['high']:.2f}) {inside}"
    return seed, first["cause"], first["probability"], words


def _practice(
    place: Path, seed: int, fault: str, size: float, speed: float
) -> "subprocess.Popen[str]":
    words = ["--fault", fault, "--size", f"{size:g}", "--seed", str(seed), "--speed", f"{speed:g}"]
    return subprocess.Popen(  # noqa: S603
        [*BELLMOUTH, "practice", *words, "--write-car", str(place / "car.toml")],
        stdout=subprocess.PIPE, text=True, env=None,
    )  # fmt: skip


def _channel(practice: "subprocess.Popen[str]") -> str | None:
    """Where it listens, read from what it prints; None where it ended instead."""
    for line in practice.stdout or ():
        found = re.search(r"--channel (\S+)", line)
        if found:
            return found[1]
    return None


def main() -> None:
    """Run the seeds, some at a time, and count."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--together", type=int, default=4)
    parser.add_argument("--fault", default="leak")
    parser.add_argument("--size", type=float, default=2.5)
    parser.add_argument("--speed", type=float, default=1.0)
    chosen = parser.parse_args()
    seeds = range(chosen.first, chosen.first + chosen.seeds)
    named = inside = 0
    with ThreadPoolExecutor(chosen.together) as pool:
        for seed, cause, probability, words in pool.map(
            lambda seed: one(seed, chosen.fault, chosen.size, chosen.speed), seeds
        ):
            named += cause == chosen.fault
            inside += cause == chosen.fault and words.endswith("inside")
            print(f"seed {seed:3d}  {cause:24s} {probability:4.0%}  {words}", flush=True)
    print(f"named {named} of {chosen.seeds}; true size inside the 90 % interval {inside}")


if __name__ == "__main__":
    main()
