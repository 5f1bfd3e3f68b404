"""Kill a writer of the book at random moments and look what is left:
``python -m measure.kill_book --moments 200``.

The writer says each entry aloud once it is acknowledged. Afterwards every acknowledged entry must
be there, the database whole, and no entry may name a file that is not.
"""

import argparse
import os
import random
import select
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from bellmouth.book.care import check
from bellmouth.book.store import Store

__all__ = ["Killed", "kill_many", "main"]

_CAR = {"displacement_l": 2.0, "metering": "airflow"}
_PATIENCE_S = 60.0

# Notes, photos and jobs in turn: small writes, files, and everything that is worked out anew.
_WRITER = """
import os, sys
from bellmouth.book.store import Store

with Store(sys.argv[1]) as store:
    number = len(store.history("car").entries)
    print("begun", flush=True)
    while True:
        number += 1
        if number % 3 == 0:
            kept = store.files.keep("photos", os.urandom(60_000), "jpg")
            entry = store.add("car", "photo", {"turn": number}, files=[kept])
        elif number % 7 == 0:
            entry = store.open_job("car", distance_km=float(number))
        else:
            entry = store.add("car", "note", {"turn": number, "text": "x" * (number % 5000)})
        print(entry.number, flush=True)
"""


@dataclass(frozen=True)
class Killed:
    """One kill: entries acknowledged and kept in all, files left loose, and what was wrong."""

    acknowledged: int
    kept: int
    loose: int
    problems: tuple[str, ...]


def kill_many(folder: Path, moments: int, seed: int) -> list[Killed]:
    """Kill a writer of one book so many times, each at another moment of its writing."""
    rng = random.Random(seed)  # noqa: S311 - moments need not be secret
    with Store(folder) as store:
        store.add_car("car", _CAR)
    return [_kill_once(folder, rng.uniform(0.0, 0.15)) for _ in range(moments)]


def _kill_once(folder: Path, after_s: float) -> Killed:
    words = [sys.executable, "-c", _WRITER, str(folder)]
    with subprocess.Popen(words, stdout=subprocess.PIPE) as writer:  # noqa: S603 - our own words
        assert writer.stdout is not None  # noqa: S101
        try:
            said = _until_it_writes(writer)
            time.sleep(after_s)
        finally:
            writer.send_signal(signal.SIGKILL)
        said += writer.stdout.read()
    # The last line may have been cut in the middle; only a whole one is an acknowledgement.
    whole = said.rpartition(b"\n")[0].split()
    numbers = [int(line) for line in whole if line.isdigit()]
    with Store(folder) as store:
        health = check(store)
        kept = store.history("car").entries
    lost = set(numbers) - {entry.number for entry in kept}
    problems = [*health.problems, *(f"Entry {number} was lost." for number in sorted(lost))]
    if [entry.number for entry in kept] != list(range(1, len(kept) + 1)):
        problems.append("Numbers of entries have gaps.")
    return Killed(len(numbers), len(kept), len(health.loose), tuple(problems))


def _until_it_writes(writer: "subprocess.Popen[bytes]") -> bytes:
    """What the writer says up to its first acknowledgement."""
    assert writer.stdout is not None  # noqa: S101
    said = b""
    deadline = time.monotonic() + _PATIENCE_S
    while said.count(b"\n") < 2 and time.monotonic() < deadline:
        if select.select([writer.stdout], [], [], 1.0)[0]:
            said += os.read(writer.stdout.fileno(), 4096)
    return said


def main() -> None:
    """Print what was left after every kill, in sum."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--moments", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        killed = kill_many(Path(folder) / "book", given.moments, given.seed)
    wrong = [one for one in killed if one.problems]
    print(
        f"{len(killed)} kills: {sum(one.acknowledged for one in killed)} entries acknowledged, "
        f"{killed[-1].kept} kept in the end, {killed[-1].loose} loose files, "
        f"{len(wrong)} kills after which something was wrong"
    )
    for one in wrong[:10]:
        print("-", "; ".join(one.problems[:3]))
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
