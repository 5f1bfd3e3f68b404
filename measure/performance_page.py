"""What `make bench` measured as ``docs/performance.md``: ``python -m measure.performance_page``.

Every figure comes from the JSON that the measurements kept; what was not measured is said to be
missing, and each table names the machine of its own run.
"""

import sys
import time
from collections.abc import Callable, Sequence
from typing import Any

import polars as pl

from bellmouth.finding.case import prepare, solve_many
from bellmouth.fleet.inputs import Found, read_cars
from bellmouth.fleet.rows import Task, rows_of
from bellmouth.recording import read_recording
from bellmouth.recording.steady import stretches
from measure import ROOT
from measure.fleet_files import fleet
from measure.performance_picture import picture
from measure.results import kept, machine
from measure.survey_cost import Run, predicted_s, targets

__all__ = ["main"]

_PAGE = ROOT / "docs" / "performance.md"
_PICTURE = ROOT / "docs" / "pictures" / "performance.svg"
_PROFILED = 25
_FITTED = 1000
_MILLION = 1_000_000


def main() -> int:
    """Write the page and its picture."""
    runs = [Run(**one) for one in (kept("survey_cost") or {"runs": []})["runs"]]
    parts = [
        "# Performance\n\nWritten by `make bench`; each figure is a ratio to a reference measured "
        "on the same machine in the same run.",
        _finding(),
        _judging(),
        _survey(runs),
        _profile(),
        _million(runs),
        _polling(),
        _cues(),
    ]
    if runs:
        _PICTURE.parent.mkdir(parents=True, exist_ok=True)
        _PICTURE.write_text(picture(runs), encoding="utf-8")
    _PAGE.write_text("\n\n".join(part.rstrip() for part in parts) + "\n", encoding="utf-8")
    print(f"{_PAGE.relative_to(ROOT)} written.")
    return 0


def _named(found: dict[str, Any]) -> str:
    m = found["machine"]
    return f"*{m['processor']}, {m['cores']} cores, {m['memory']}, {m['python']}, {m['system']}.*"


def _section(title: str, name: str, tell: Callable[[dict[str, Any]], str]) -> str:
    found = kept(name)
    said = f"{tell(found)}\n\n{_named(found)}" if found else "Not measured in this run."
    return f"## {title}\n\n{said}"


def _rows(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def _met(lines: Sequence[str]) -> str:
    return "\n".join(f"- {' '.join(line.split())}" for line in lines)


def _finding() -> str:
    header = ("what", "rows", "took", "reference", "took", "ratio")
    return _section(
        "A finding, against reading and against a nested sampler",
        "bench",
        lambda found: f"{_rows(header, found['rows'])}\n\n{_met(found['targets'])}",
    )


def _judging() -> str:
    def tell(found: dict[str, Any]) -> str:
        ours, theirs = found["judging_s"], found["monitor_s"]
        return (
            f"Judging ten minutes at 25 rows a second took {1e3 * ours:.1f} ms; a general-purpose "
            f"monitor of signal temporal logic (rtamt) on the same windows and samples "
            f"{1e3 * theirs:.0f} ms, {theirs / ours:.0f} times as long."
        )

    return _section("Judging an attempt, against a monitor of temporal logic", "judging", tell)


def _survey(runs: Sequence[Run]) -> str:
    header = (
        "recordings", "distinct", "workers", "cluster's start", "survey", "a recording",
        "reading them", "ratio", "ratio of CPU time", "share of the cores",
        "peak memory of a worker",
    )  # fmt: skip

    def tell(_found: dict[str, Any]) -> str:
        rows = [
            [
                f"{r.count:,}", f"{r.distinct:,}", f"{r.workers}", f"{r.start_s:.1f} s",
                f"{r.survey_s:.1f} s", f"{1e3 * r.survey_s / r.count:.1f} ms", f"{r.read_s:.2f} s",
                f"{r.ratio:.1f}", f"{r.cpu_ratio:.1f}", f"{r.share:.2f}",
                f"{r.peak_bytes / 2**20:.0f} MiB",
            ]
            for r in runs
        ]  # fmt: skip
        return (
            "Simulated recordings of about three minutes, 900 to 3,200 rows; beyond the number of "
            "distinct ones the same files stand there under other names. Reading is "
            "`polars.read_csv` by as many processes. Surveys of up to 2,500 recordings were made "
            "several times over, in turns with the reading; medians count. Where a survey had well "
            "under its share of the cores something else was running, and CPU time tells more than "
            "the clock.\n\n"
            f"{_rows(header, rows)}\n\n![Cost against size](pictures/performance.svg)\n\n"
            f"{_met(targets(runs))}"
        )

    return _section("A survey, against reading the same files", "survey_cost", tell)


def _profile() -> str:
    """Where a recording's time goes, measured now, in CPU time of one process."""
    made = fleet(_PROFILED)
    table = read_cars(made.cars)
    names = [(str(file), file.stem) for file in made.files]
    tasks = [Task(Found(path, 0, ""), car, "", table.cars[car]) for path, car in names]
    read = [read_recording(path) for path, _ in names]
    steady = [stretches(one) for one in read]
    cars = [task.car for task in tasks]

    def prepared() -> list[Any]:
        return [prepare(found, (), car) for found, car in zip(steady, cars, strict=True)]

    ready = prepared()
    steps: list[tuple[str, Callable[[], object]]] = [
        ("polars.read_csv, the reference", lambda: [pl.read_csv(path) for path, _ in names]),
        ("reading, units, clock", lambda: [read_recording(path) for path, _ in names]),
        ("steady stretches", lambda: [stretches(one) for one in read]),
        ("model and likelihoods made ready", prepared),
        (f"inference, {_PROFILED} recordings together", lambda: solve_many(ready)),
        ("inference, one by one", lambda: [solve_many([one]) for one in ready]),
        ("a whole row", lambda: rows_of(tasks)),
    ]
    took = [_cpu_ms(work) / len(names) for _, work in steps]
    rows = [
        [what, f"{ms:.1f} ms", f"{ms / took[0]:.1f}"]
        for (what, _), ms in zip(steps, took, strict=True)
    ]
    body = _rows(("step", "CPU time a recording", "over reading"), rows)
    return f"## Where the time goes\n\n{body}\n\n{_named({'machine': machine()})}"


def _cpu_ms(work: Callable[[], object]) -> float:
    work()
    times = []
    for _ in range(5):
        begun = time.process_time()
        work()
        times.append(time.process_time() - begun)
    return 1e3 * sorted(times)[2]


def _million(runs: Sequence[Run]) -> str:
    """A straight line through the small runs, held against the largest one."""
    title = "## Up to a million recordings"
    most = max((run.workers for run in runs), default=0)
    full = sorted((run for run in runs if run.workers == most), key=lambda run: run.count)
    small = [run for run in full if run.count <= _FITTED] or full[:1]
    if not small:
        return f"{title}\n\nNot measured in this run."
    large = full[-1]
    said = "No larger run was made, so the model is not checked."
    if large.count > small[-1].count:
        off = predicted_s(small, large.count) / large.survey_s - 1.0
        said = (
            f"For {large.count:,} recordings it says {predicted_s(small, large.count):.0f} s; "
            f"measured were {large.survey_s:.0f} s ({100 * off:+.1f} %)."
        )
    hours = predicted_s(small, _MILLION) / 3600.0
    rows = [[f"{n}", f"{hours * most / n:.1f} h"] for n in (most, 8, 32, 128)]
    size_in, size_out = (
        large.bytes_in / large.count * _MILLION, large.bytes_out / large.count * _MILLION,
    )  # fmt: skip
    return (
        f"{title}\n\nSeconds = fixed + recordings x cost, fitted to the runs of up to "
        f"{small[-1].count:,} recordings with {most} workers. {said}\n\nA million recordings, if "
        f"workers gain in proportion (measured for up to {most} only):\n\n"
        f"{_rows(('workers', 'time'), rows)}\n\n"
        f"{size_in / 1e9:.0f} GB are read and {size_out / 1e9:.1f} GB written; a worker needs "
        f"{max(run.peak_bytes for run in runs) / 2**20:.0f} MiB."
    )


def _polling() -> str:
    def tell(found: dict[str, Any]) -> str:
        rows = [
            [f"{r['latency_ms']:g} ms", f"{r['allowed']:.1f} /s", f"{r['reached']:.1f} /s",
             f"{r['reached'] / r['allowed']:.2f}"]
            for r in found["rows"]
        ]  # fmt: skip
        return _rows(("latency of the controller", "it allows", "reached", "ratio"), rows)

    return _section("Polling rate, against what the latency allows", "poll_rate", tell)


def _cues() -> str:
    def tell(found: dict[str, Any]) -> str:
        rows = [[f"{share} %", f"{ms:.2f} ms"] for share, ms in found["late_ms"].items()]
        return f"{found['cues']} cues, every core busy.\n\n" + _rows(
            ("of the cues", "no later than"), rows
        )

    return _section("Cue times, against the schedule", "cue_times", tell)


if __name__ == "__main__":
    sys.exit(main())
