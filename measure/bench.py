"""Speed, each row against its reference in the same run: ``python -m measure.bench``.

One thread of linear algebra throughout. ``--cases`` sets how many posteriors the nested sampler
is put to (0 leaves it out, it takes most of the time), ``--live`` its live points. In pieces:
``--cases 0`` for the speed, then ``--first 0 --cases 5 --add``, ``--first 5 --cases 5 --add`` and
so on, each kept beside what was kept before.
"""

import argparse
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict
from functools import partial
from pathlib import Path

import numpy as np
import polars as pl

import bellmouth
from bellmouth.car.description import Car
from bellmouth.practice.polling import write_csv
from measure import OUT
from measure.agreement import (
    BESIDE,
    CASES,
    DRAWN,
    HEADER,
    agreement_targets,
    agreements,
    table_rows,
)
from measure.cases import recordings
from measure.nested import LIVE, Agreement
from measure.results import keep, kept
from measure.simulated import Simulated
from measure.tables import heading, number, table, target

__all__ = ["main"]

_FILES = 12
_ROUNDS = 7


def main(arguments: list[str] | None = None) -> int:
    """Print the table, the agreement with the nested sampler and the targets."""
    asked = _parse(arguments)
    earlier = (kept("bench") if asked.add else None) or {}
    if asked.add and earlier:
        rows, lines = earlier["rows"], earlier["speed"]
    else:
        rows, lines = _speed()
    places = range(asked.first, asked.first + asked.cases)
    found = agreements(places, asked.live, asked.processes)
    told = {one["place"]: Agreement(**one) for one in earlier.get("agreements", [])}
    told |= {one.place: one for one in found}
    every = [told[place] for place in sorted(told)]
    print(heading("Speed: medians, each against its reference in this run"))
    print(table(("what", "rows", "took", "reference", "took", "ratio"), rows))
    if every:
        print(heading("A nested sampler on the same posterior, one hypothesis of each case"))
        print(table(HEADER, table_rows(every)))
    targets = [*lines, *agreement_targets(every)]
    print(heading("Targets"))
    print("\n".join(targets))
    keep(
        "bench",
        {
            "rows": rows,
            "speed": lines,
            "targets": targets,
            "agreements": [asdict(one) for one in every],
        },
    )
    return 0


def _parse(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m measure.bench", description=__doc__)
    parser.add_argument("--cases", type=int, default=20, help=f"of {CASES} at most")
    parser.add_argument("--first", type=int, default=0, help="the first of the cases")
    parser.add_argument("--add", action="store_true", help="keep what earlier runs measured")
    parser.add_argument("--live", type=int, default=LIVE)
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args(arguments)
    if not 0 <= asked.first <= asked.first + asked.cases <= CASES:
        parser.error(f"there are {CASES} cases, counted from 0")
    return asked


def _speed() -> tuple[list[list[str]], list[str]]:
    made = [one for one in recordings(BESIDE, DRAWN) if _usual(one)][:_FILES]
    files = [_write(one) for one in made]
    length = float(np.median([sum(1 for _ in file.open()) - 1 for file, _, _ in files]))
    read, alone, paired = [], [], []
    for file, reference, car in files:
        read.append(_median_s(partial(pl.read_csv, file)))
        alone.append(_median_s(partial(_find, file, (), car)))
        paired.append(_median_s(partial(_find, file, (reference,), car)))
    both = [_median_s(partial(_read_both, f, r)) for f, r, _ in files]
    command = _command(files[0][0])
    rows = [
        _row("read and find", length, alone, "polars.read_csv", read),
        _row("the same with one reference", length, paired, "polars.read_csv of both", both),
        ["whole command, find --json", f"{length:.0f}", f"{1e3 * command:.0f} ms", "-", "-", "-"],
    ]
    ratio = float(np.median(np.array(alone) / np.array(read)))
    lines = [
        target("read and find [ms]", 1e3 * float(np.median(alone)), 60, at_least=False, digits=0),
        target("over merely reading the CSV", ratio, 30, at_least=False, digits=1),
        target(
            "with a reference [ms]", 1e3 * float(np.median(paired)), 200, at_least=False, digits=0
        ),
        target("whole command [s]", command, 1.5, at_least=False, digits=2),
    ]
    return rows, lines


def _usual(one: Simulated) -> bool:
    """A recording of about three minutes with 1,000 to 3,000 rows."""
    times = np.unique(np.concatenate([s.time_s for s in one.recording.series.values()]))
    return 900 <= len(times) <= 3200


def _write(one: Simulated) -> tuple[Path, Path, Car]:
    folder = OUT / "bench"
    folder.mkdir(parents=True, exist_ok=True)
    judged, reference = folder / f"{one.number}.csv", folder / f"{one.number}-good.csv"
    write_csv(one.recording, judged)
    write_csv(one.references[0], reference)
    lines = [
        f"displacement_l = {one.car.displacement_l.value}",
        f'metering = "{one.car.metering}"',
        f"cylinders = {one.car.cylinders}",
        f"banks = {one.car.banks}",
    ]
    judged.with_suffix(".toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return judged, reference, one.car


def _read_both(file: Path, other: Path) -> None:
    pl.read_csv(file)
    pl.read_csv(other)


def _find(file: Path, references: Sequence[Path], car: Car) -> object:
    others = [bellmouth.read_recording(reference) for reference in references]
    return bellmouth.find(bellmouth.read_recording(file), car, references=others)


def _median_s(work: Callable[[], object]) -> float:
    work()
    took = []
    for _ in range(_ROUNDS):
        start = time.perf_counter()
        work()
        took.append(time.perf_counter() - start)
    return float(np.median(took))


def _command(file: Path) -> float:
    program = Path(sys.executable).with_name("bellmouth")
    line = [str(program), "find", str(file), "--car", str(file.with_suffix(".toml")), "--json"]

    def run() -> None:
        subprocess.run(line, check=True, stdout=subprocess.DEVNULL)  # noqa: S603

    return _median_s(run)


def _row(
    what: str, length: float, took: Sequence[float], reference: str, theirs: Sequence[float]
) -> list[str]:
    ratio = float(np.median(np.array(took) / np.array(theirs)))
    times = [f"{1e3 * float(np.median(one)):.1f} ms" for one in (took, theirs)]
    return [what, f"{length:.0f}", times[0], reference, times[1], number(ratio, 1)]


if __name__ == "__main__":
    sys.exit(main())
