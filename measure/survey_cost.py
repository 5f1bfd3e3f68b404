"""What a survey costs against merely reading the same files: ``python -m measure.survey_cost``.

For each number of recordings and of workers: the whole survey on a local cluster that is already
up (its start is told apart), and the same files read with polars by as many processes, in turns in
the same run; small ones several times over, of which the median counts. ``--counts
100,1000,10000 --workers 1,2`` is the full measurement; with ``--add`` it can be had in pieces, each
with its own reading, kept beside those of the same machine.
"""

import argparse
import multiprocessing
import os
import resource
import shutil
import sys
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl
from distributed import Client

from bellmouth.fleet.cluster import local_cluster
from bellmouth.fleet.survey import survey
from measure.fleet_files import Fleet, fleet
from measure.results import FOLDER, keep, kept, machine
from measure.tables import heading, number, table, target

__all__ = ["Run", "line_through", "main", "predicted_s", "targets"]

_MOST_RATIO, _MOST_GIB, _LINEAR, _SPEED_UP = 15.0, 1.0, 0.10, 1.8
_READ_AT_LEAST = 1000  # files read in the reference, however few the survey has
_ROUNDS, _IN_ALL = 5, 5000  # surveys of one size, and recordings surveyed in all of them


@dataclass(frozen=True)
class Run:
    """Surveys of one size, medians over ``rounds``. Times by the clock [s], CPU times of the
    workers and of this process [s], the largest worker's peak resident memory [bytes]."""

    when: str
    count: int
    distinct: int
    workers: int
    bytes_in: int
    bytes_out: int
    errors: int
    start_s: float
    survey_s: float
    worker_cpu_s: float
    own_cpu_s: float
    read_s: float
    read_cpu_s: float
    peak_bytes: int
    rounds: int = 1

    @property
    def ratio(self) -> float:
        """The survey over merely reading, by the clock."""
        return self.survey_s / self.read_s

    @property
    def share(self) -> float:
        """CPU time over what its workers' cores had to give by the clock."""
        return (self.worker_cpu_s + self.own_cpu_s) / (self.survey_s * self.workers)

    @property
    def cpu_ratio(self) -> float:
        """The same in CPU time, scheduler and writing included."""
        return (self.worker_cpu_s + self.own_cpu_s) / self.read_cpu_s


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, keep."""
    parser = argparse.ArgumentParser(prog="python -m measure.survey_cost", description=__doc__)
    parser.add_argument("--counts", default="100,1000")
    parser.add_argument("--workers", default="1,2")
    parser.add_argument("--add", action="store_true", help="keep the runs of other sizes")
    asked = parser.parse_args(arguments)
    # The reference's processes read with one thread each, as the survey's workers do.
    os.environ["POLARS_MAX_THREADS"] = "1"
    counts = [int(count) for count in asked.counts.split(",")]
    workers = [int(one) for one in asked.workers.split(",")]
    runs: list[Run] = []
    for count in counts:
        runs += _measured(fleet(count), workers)
        print(_table(runs[-len(workers) :]), flush=True)
        # At once: whoever stops a long measurement keeps what there is.
        _keep(_with_earlier(runs) if asked.add else runs)
    runs = _with_earlier(runs) if asked.add else runs
    print(heading("A survey against merely reading the same files"))
    print(_table(runs))
    print(heading("Targets"))
    print("\n".join(targets(runs)))
    path = _keep(runs)
    print(f"\nKept in {path}; `python -m measure.performance_page` makes the page.")
    return 0


def _keep(runs: Sequence[Run]) -> Path:
    told = {"runs": [asdict(run) for run in runs], "targets": targets(runs)}
    return keep("survey_cost", told)


def _with_earlier(runs: Sequence[Run]) -> list[Run]:
    """These and the runs of other sizes or workers that this machine made before."""
    before = kept("survey_cost")
    if before is None or before["machine"] != machine():
        return list(runs)
    every = {(run.count, run.workers): run for run in (Run(**one) for one in before["runs"])}
    every |= {(run.count, run.workers): run for run in runs}
    return [every[key] for key in sorted(every)]


def _measured(made: Fleet, workers: Sequence[int]) -> list[Run]:
    """Reading and surveying by each number of workers in turns, the medians kept: other guests of
    the machine move single ones by a fifth, and whole minutes alike."""
    rounds = min(max(_IN_ALL // made.count, 1), _ROUNDS)
    reads: dict[int, list[tuple[float, float]]] = {one: [] for one in workers}
    surveys: dict[int, list[dict[str, float]]] = {one: [] for one in workers}
    for _ in range(rounds):
        for one in workers:
            reads[one].append(_read(made.files, one))
            surveys[one].append(_surveyed(made, one))
            reads[one].append(_read(made.files, one))
    return [_run(made, one, surveys[one], reads[one]) for one in workers]


def _run(
    made: Fleet,
    workers: int,
    surveys: Sequence[dict[str, float]],
    reads: Sequence[tuple[float, float]],
) -> Run:
    middle = {name: float(np.median([one[name] for one in surveys])) for name in surveys[0]}
    return Run(
        when=datetime.now(UTC).isoformat(timespec="seconds"),
        count=made.count,
        distinct=made.distinct,
        workers=workers,
        rounds=len(surveys),
        bytes_in=made.bytes,
        bytes_out=int(middle["bytes_out"]),
        errors=int(middle["errors"]),
        start_s=middle["start_s"],
        survey_s=middle["survey_s"],
        worker_cpu_s=middle["worker_cpu_s"],
        own_cpu_s=middle["own_cpu_s"],
        read_s=float(np.median([took for took, _ in reads])),
        read_cpu_s=float(np.median([cpu for _, cpu in reads])),
        peak_bytes=int(max(one["peak_bytes"] for one in surveys)),
    )


def _surveyed(made: Fleet, workers: int) -> dict[str, float]:
    """One survey on a cluster of its own, whose start is told apart."""
    out = FOLDER / f"findings-{made.count}-{workers}"
    shutil.rmtree(out, ignore_errors=True)
    out.with_name(out.name + ".survey.json").unlink(missing_ok=True)
    begun = time.perf_counter()
    with local_cluster(workers) as cluster, Client(cluster) as client:
        started, own, theirs = time.perf_counter(), time.process_time(), _cpu_s(client)
        found = survey([str(made.folder)], made.cars, out, scheduler=cluster.scheduler_address)
        took = time.perf_counter() - started
        own, theirs = time.process_time() - own, _cpu_s(client) - theirs
        peak = max(client.run(_peak_bytes).values())
    return {
        "bytes_out": sum(part.stat().st_size for part in out.glob("*.parquet")),
        "errors": int(found.read()["error"].is_not_null().sum()),
        "start_s": started - begun,
        "survey_s": took,
        "worker_cpu_s": theirs,
        "own_cpu_s": own,
        "peak_bytes": peak,
    }


def _cpu_s(client: Client) -> float:
    return float(sum(client.run(time.process_time).values()))


def _peak_bytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def _read(files: Sequence[Path], processes: int) -> tuple[float, float]:
    """Reading every file with polars by so many processes: by the clock and in CPU time [s].

    Few files are read several times over and the time divided, so that it can be told at all.
    """
    times = -(-_READ_AT_LEAST // len(files))
    shares = [[str(file) for file in files[n::processes]] for n in range(processes)]
    context = multiprocessing.get_context("spawn")
    with context.Pool(processes) as pool:
        pool.map(_read_share, [(share[:5], 1) for share in shares], chunksize=1)
        begun = time.perf_counter()
        cpu = pool.map(_read_share, [(share, times) for share in shares], chunksize=1)
        took = time.perf_counter() - begun
    return took / times, sum(cpu) / times


def _read_share(share: tuple[Sequence[str], int]) -> float:
    begun = time.process_time()
    for _ in range(share[1]):
        for path in share[0]:
            pl.read_csv(path)
    return time.process_time() - begun


def _table(runs: Sequence[Run]) -> str:
    header = (
        "recordings", "distinct", "workers", "start", "survey", "a recording", "reading", "ratio",
        "ratio of CPU", "peak memory", "errors",
    )  # fmt: skip
    rows = [
        [
            f"{run.count}", f"{run.distinct}", f"{run.workers}", f"{run.start_s:.1f} s",
            f"{run.survey_s:.1f} s", f"{1e3 * run.survey_s / run.count:.1f} ms",
            f"{run.read_s:.2f} s", number(run.ratio, 1), number(run.cpu_ratio, 1),
            f"{run.peak_bytes / 2**20:.0f} MiB", f"{run.errors}",
        ]
        for run in runs
    ]  # fmt: skip
    return table(header, rows)


def targets(runs: Sequence[Run]) -> list[str]:
    """Each target with what was reached; in CPU time as well, which others' work on the machine
    moves less than the clock."""
    most = max(run.workers for run in runs)
    full = [run for run in runs if run.workers == most]
    lines = [
        target(f"ratio to reading, {r.count} recordings, {most} workers", r.ratio, _MOST_RATIO,
               at_least=False, digits=1)
        for r in full
    ]  # fmt: skip
    peak = max(run.peak_bytes for run in runs) / 2**30
    lines.append(target("peak memory of a worker [GiB]", peak, _MOST_GIB, at_least=False))
    if len(full) > 1:
        lines += _linear(full)
    for run in full:
        alone = [one for one in runs if one.workers == 1 and one.count == run.count]
        if alone and most > 1:
            gain = alone[0].survey_s / run.survey_s
            what = f"{most} workers over one, {run.count} recordings"
            lines.append(target(what, gain, _SPEED_UP, at_least=True, digits=2))
    return lines


def _linear(full: Sequence[Run]) -> list[str]:
    """Whether cost is linear in the number of recordings: as it stands, and as the straight line
    with what a survey costs whatever its size."""
    kinds = (
        ("CPU time", [run.worker_cpu_s + run.own_cpu_s for run in full]),
        ("cost by the clock", [run.survey_s for run in full]),
        ("cost with the cluster's start", [run.survey_s + run.start_s for run in full]),
    )
    size = [run.count for run in full]
    lines = []
    for what, cost in kinds:
        each = [took / count for took, count in zip(cost, size, strict=True)]
        off = max(each) / min(each) - 1.0
        what_off = f"{what} a recording, largest over smallest less one"
        lines.append(target(what_off, off, _LINEAR, at_least=False, digits=2))
        if len(full) > 2:
            fixed, one, worst = line_through(size, cost)
            told = f"{what}, furthest from {fixed:.2f} s + {1e3 * one:.2f} ms a recording"
            lines.append(target(told, worst, _LINEAR, at_least=False, digits=2))
    return lines


def line_through(size: Sequence[float], cost: Sequence[float]) -> tuple[float, float, float]:
    """``cost = fixed + each * size`` by least squares of relative errors, ``fixed`` at least 0:
    both, and the largest relative error."""
    count, took = np.array(size, dtype=np.float64), np.array(cost, dtype=np.float64)
    columns = np.stack([1.0 / took, count / took], axis=1)
    fixed, each = np.linalg.lstsq(columns, np.ones(len(took)))[0]
    if fixed < 0.0:
        share = count / took
        fixed, each = 0.0, share.sum() / (share**2).sum()
    off = np.abs((fixed + each * count) / took - 1.0)
    return float(fixed), float(each), float(off.max())


def predicted_s(runs: Sequence[Run], count: int) -> float:
    """Seconds that ``count`` recordings take: a straight line, least squares of relative errors,
    through ``runs`` of one number of workers."""
    if len(runs) == 1:
        return runs[0].survey_s / runs[0].count * count
    size, took = [run.count for run in runs], [run.survey_s for run in runs]
    fixed, each, _ = line_through(size, took)
    return fixed + each * count


if __name__ == "__main__":
    sys.exit(main())
