"""Speed, each row against its reference in the same run: ``python -m measure.bench``.

One thread of linear algebra throughout. ``--cases`` sets how many posteriors the nested sampler
is put to (0 leaves it out, it takes most of the time), ``--live`` its live points.
"""

import argparse
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import numpy as np
import polars as pl

import bellmouth
from bellmouth.car.description import Car
from bellmouth.finding.find import solve
from bellmouth.practice.polling import write_csv
from measure import OUT
from measure.cases import recordings, samples
from measure.nested import Agreement, agreement
from measure.pool import spread
from measure.results import keep
from measure.simulated import Plan, Simulated
from measure.tables import heading, number, table, target

__all__ = ["main"]

_CAUSES = ("healthy", "leak", "meter_low", "fuel_high", "deposit", "learned_stale")
_PLAN = Plan("A", 90, _CAUSES, ("held",), reference=True)
_NESTED = Plan("A", 91, _CAUSES)
_FILES = 12
_ROUNDS = 7


def main(arguments: list[str] | None = None) -> int:
    """Print the table, the agreement with the nested sampler and the targets."""
    parser = argparse.ArgumentParser(prog="python -m measure.bench", description=__doc__)
    parser.add_argument("--cases", type=int, default=20)
    parser.add_argument("--live", type=int, default=100)
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args(arguments)
    rows, lines = _speed()
    print(heading("Speed: medians, each against its reference in this run"))
    print(table(("what", "rows", "took", "reference", "took", "ratio"), rows))
    if asked.cases:
        found = _agreements(asked.cases, asked.live, asked.processes)
        lines += _show(found)
    print(heading("Targets"))
    print("\n".join(lines))
    keep("bench", {"rows": rows, "targets": lines})
    return 0


def _speed() -> tuple[list[list[str]], list[str]]:
    made = [one for one in recordings(_PLAN, 24) if _usual(one)][:_FILES]
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


def _agreements(count: int, live: int, processes: int) -> list[Agreement]:
    drawn = samples(_NESTED, max(count, 24), processes)
    usable = [(s.number, live) for s in drawn][:count]
    return spread(_agree, usable, processes, "sampling")


def _agree(which: tuple[int, int]) -> Agreement:
    place, live = which
    one = samples(_NESTED, 24, 1)[place]
    start = time.perf_counter()
    case = solve(one.judged, one.references, one.car, f"case {one.number}")
    took = time.perf_counter() - start
    row = case.hypotheses.names.index(one.cause)
    return agreement(f"{one.number} {one.reports} {one.plan}", case, row, took, live)


def _show(found: Sequence[Agreement]) -> list[str]:
    print(heading("A nested sampler on the same posterior, one hypothesis of each case"))
    rows = [
        [
            one.name, one.hypothesis, str(one.unknowns), number(one.evidence), number(one.error),
            number(one.means), str(one.calls), f"{one.seconds:.1f} s", number(one.faster, 0),
        ]
        for one in found
    ]  # fmt: skip
    header = (
        "case", "hypothesis", "unknowns", "evidence", "its error", "means [sd]", "calls", "took",
        "finding faster",
    )  # fmt: skip
    print(table(header, rows))
    means = [one.means for one in found if np.isfinite(one.means)]
    close = sum(abs(one.evidence) <= 0.5 for one in found)
    allowed = sum(abs(one.evidence) <= max(0.5, 2 * one.error) for one in found)
    print(f"within 0.5 or twice the sampler's own error: {allowed} of {len(found)}")
    return [
        target(
            f"log evidence within 0.5, of {len(found)}", close, len(found), at_least=True, digits=0
        ),
        target("largest difference of means [sd]", max(means), 0.3, at_least=False, digits=2),
        target(
            "times faster, least", min(one.faster for one in found), 50, at_least=True, digits=0
        ),
    ]


if __name__ == "__main__":
    sys.exit(main())
