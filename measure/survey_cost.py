"""What a survey costs against merely reading the same files: ``python -m measure.survey_cost``.

For each number of recordings and of workers: the whole survey on a local cluster that is already
up (its start is told apart), and the same files read with polars by as many processes, before and
after, in the same run. ``--counts 100,1000,10000 --workers 1,2`` is the full measurement; with
``--add`` it can be had in pieces, each with its own reading, kept beside those of the same machine.
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

__all__ = ["Run", "main", "predicted_s", "targets"]

_MOST_RATIO, _MOST_GIB, _LINEAR, _SPEED_UP = 15.0, 1.0, 0.10, 1.8
_READ_AT_LEAST = 400  # files read in the reference, however few the survey has


@dataclass(frozen=True)
class Run:
    """One survey. Times by the clock [s], CPU times of the workers and of this process [s], the
    largest worker's peak resident memory [bytes]."""

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
    runs = [_measured(fleet(count), number) for count in counts for number in workers]
    runs = _with_earlier(runs) if asked.add else runs
    print(heading("A survey against merely reading the same files"))
    print(_table(runs))
    print(heading("Targets"))
    lines = targets(runs)
    print("\n".join(lines))
    path = keep("survey_cost", {"runs": [asdict(run) for run in runs], "targets": lines})
    print(f"\nKept in {path}; `python -m measure.performance_page` makes the page.")
    return 0


def _with_earlier(runs: Sequence[Run]) -> list[Run]:
    """These and the runs of other sizes or workers that this machine made before."""
    before = kept("survey_cost")
    if before is None or before["machine"] != machine():
        return list(runs)
    every = {(run.count, run.workers): run for run in (Run(**one) for one in before["runs"])}
    every |= {(run.count, run.workers): run for run in runs}
    return [every[key] for key in sorted(every)]


def _measured(made: Fleet, workers: int) -> Run:
    out = FOLDER / f"findings-{made.count}-{workers}"
    shutil.rmtree(out, ignore_errors=True)
    out.with_name(out.name + ".survey.json").unlink(missing_ok=True)
    before = _read(made.files, workers)
    begun = time.perf_counter()
    with local_cluster(workers) as cluster, Client(cluster) as client:
        started, own, theirs = time.perf_counter(), time.process_time(), _cpu_s(client)
        found = survey([str(made.folder)], made.cars, out, scheduler=cluster.scheduler_address)
        took = time.perf_counter() - started
        own, theirs = time.process_time() - own, _cpu_s(client) - theirs
        peak = max(client.run(_peak_bytes).values())
    after = _read(made.files, workers)
    return Run(
        when=datetime.now(UTC).isoformat(timespec="seconds"),
        count=made.count,
        distinct=made.distinct,
        workers=workers,
        bytes_in=made.bytes,
        bytes_out=sum(part.stat().st_size for part in out.glob("*.parquet")),
        errors=int(found.read()["error"].is_not_null().sum()),
        start_s=started - begun,
        survey_s=took,
        worker_cpu_s=theirs,
        own_cpu_s=own,
        read_s=0.5 * (before[0] + after[0]),
        read_cpu_s=0.5 * (before[1] + after[1]),
        peak_bytes=peak,
    )


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
        cpu = [(run.worker_cpu_s + run.own_cpu_s) / run.count for run in full]
        what = "CPU time a recording, largest over smallest less one"
        off = max(cpu) / min(cpu) - 1.0
        lines.append(target(what, off, _LINEAR, at_least=False, digits=2))
        for what, started in (("without", 0.0), ("with", 1.0)):
            each = [(run.survey_s + started * run.start_s) / run.count for run in full]
            off = max(each) / min(each) - 1.0
            lines.append(
                target(
                    f"cost a recording, largest over smallest less one, {what} the cluster's start",
                    off, _LINEAR, at_least=False, digits=2,
                )
            )  # fmt: skip
    for run in full:
        alone = [one for one in runs if one.workers == 1 and one.count == run.count]
        if alone and most > 1:
            gain = alone[0].survey_s / run.survey_s
            what = f"{most} workers over one, {run.count} recordings"
            lines.append(target(what, gain, _SPEED_UP, at_least=True, digits=2))
    return lines


def predicted_s(runs: Sequence[Run], count: int) -> float:
    """Seconds that ``count`` recordings take: a straight line, least squares of relative errors,
    through ``runs`` of one number of workers."""
    size = np.array([run.count for run in runs], dtype=np.float64)
    took = np.array([run.survey_s for run in runs])
    if len(runs) == 1:
        return float(took[0] / size[0] * count)
    fixed, each = np.linalg.lstsq(np.stack([1.0 / took, size / took], 1), np.ones(len(runs)))[0]
    return float(fixed + each * count)


if __name__ == "__main__":
    sys.exit(main())
