"""The finding on every real recording in ``../shared/data``: ``python -m measure.real``.

Where a truth is known it stands beside the answer; the targets that are met and missed are
printed, and nothing is left out because it looks bad.
"""

import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from bellmouth.car.description import Car
from bellmouth.car.reader import read_car
from bellmouth.recording.readers import read_recording
from bellmouth.recording.series import Recording
from measure import DATA
from measure.real_map import MAP_CAR, subsets, throttled_points
from measure.real_overlays import Overlaid, bench_overlays, idle_overlays, overlay_table
from measure.real_rows import HEADER, SPARED, Answer, ask, ask_stretches, row
from measure.tables import heading, table, target

__all__ = ["main", "show"]

_DAYS_APART = (1, 2, 3, 5, 7)
_FALSE_ALARMS = ("pairs", "fault on top", "above 50 %", "p(healthy)")
_OVERLAY_NOTE = (
    "Overlays: a fault laid over what a healthy engine reported (a leak in two ways: the plate\n"
    "closes by it and pressure stays, or the plate stays and pressure rises; speed stays in\n"
    "both). No controller answered it, so this is a test of the inference, not of an engine."
)


def show(data: Path = DATA, *, every_overlay: bool = False) -> None:
    """Print the table of real recordings, the overlays and the targets."""
    idles, idle_car = _idles(data)
    idle_answers = [ask(name, recording, idle_car) for name, recording in idles]
    bench_answers, overlaid = _bench(data)
    print(heading("Real recordings, complaint unknown, nothing told but engine and metering"))
    map_answers = _map(data)
    answers = [*idle_answers, *map_answers, *bench_answers]
    print(table(HEADER, [row(answer) for answer in answers]))
    print(heading("Faults laid over the bench engine, a fault-free recording as reference"))
    print(_OVERLAY_NOTE)
    print(overlay_table(overlaid))
    wrong = [o.answer for o in overlaid if every_overlay or not o.named]
    print("\nNot named:" if wrong else "\nAll named.")
    if wrong:
        print(table(HEADER, [row(answer) for answer in wrong]))
    for reference in (False, True):
        told = "another idle as reference" if reference else "alone"
        print(
            heading(
                f"Fuel faults laid over real idles, {told} (the car's own metering reads alike)"
            )
        )
        print(overlay_table(idle_overlays(idles, idle_car, reference=reference)))
    print(heading("Real idles with another day's as reference"))
    print(table(("reference", *_FALSE_ALARMS), _days(idles, idle_car)))
    print(heading("Real idles judged together with another day's"))
    print(table(("days", *_FALSE_ALARMS), _together(idles, idle_car)))
    print(heading("Targets on real recordings"))
    _targets(idle_answers, bench_answers, overlaid)


def _idles(data: Path) -> tuple[list[tuple[str, Recording]], Car]:
    files = sorted((data / "idle").glob("*.csv.gz"))
    car = read_car(Path(__file__).parent / "cars" / "idle.toml")
    return [(file.name.removesuffix(".csv.gz"), read_recording(file)) for file in files], car


def _days(idles: Sequence[tuple[str, Recording]], car: Car) -> list[list[str]]:
    """Every idle beside one of some days later, then of some days earlier; all presumed good."""
    rows = []
    for name, way in (("a later day", 1), ("an earlier day", -1)):
        found = [
            ask(day, recording, car, [idles[(place + way * apart) % len(idles)][1]])
            for place, (day, recording) in enumerate(idles)
            for apart in _DAYS_APART
        ]
        rows.append([name, *_false_alarms(found)])
    return rows


def _together(idles: Sequence[tuple[str, Recording]], car: Car) -> list[list[str]]:
    """Each idle alone, and with the one some days after it, of the same healthy car."""
    rows = []
    for apart in (0, *_DAYS_APART):
        found = [
            ask(day, recording, car, also=[idles[(place + apart) % len(idles)][1]] if apart else [])
            for place, (day, recording) in enumerate(idles)
        ]
        name = f"and {apart} days later" if apart else "alone"
        rows.append([name, *_false_alarms(found)])
    return rows


def _false_alarms(found: Sequence[Answer]) -> list[str]:
    """How many findings of a healthy car there are, have a fault on top, are surely wrong; and how
    probable healthy is on the mean."""
    on_top = sum(answer.top not in SPARED for answer in found)
    surely = sum(answer.fault > 0.5 for answer in found)
    healthy = _mean([answer.probability("healthy") for answer in found])
    return [str(len(found)), str(on_top), str(surely), f"{healthy:.2f}"]


def _map(data: Path) -> list[Answer]:
    points = throttled_points(data / "map" / "engine_2_0_l.csv")
    found = [ask_stretches(f"map, {len(points)} points", points, [], MAP_CAR)]
    for number, some in enumerate(subsets(points, 10, 12), start=1):
        found.append(ask_stretches(f"map, draw {number} of 12", some, [], MAP_CAR))
    return found


def _bench(data: Path) -> tuple[list[Answer], list[Overlaid]]:
    folder = data / "bench"
    car = read_car(folder / "car.toml")
    good = read_recording(folder / "fault_free.csv.gz")
    other = read_recording(folder / "meter_reads_1_10.csv.gz")
    answers = [
        ask("bench fault-free", good, car),
        ask("bench meter x1.10", other, car),
        ask("bench meter x1.10, reference", other, car, [good]),
    ]
    return answers, bench_overlays(good, other, car)


def _targets(
    idles: Sequence[Answer], bench: Sequence[Answer], overlaid: Sequence[Overlaid]
) -> None:
    calm = sum(answer.top == "healthy" for answer in idles)
    print(target("real idles with healthy on top", calm, 23, at_least=True, digits=0))
    silent = sum(answer.fault > 0.3 and not answer.why for answer in idles)
    print(
        target(
            "idles with a fault above 30 % and no reading named",
            silent,
            0,
            at_least=False,
            digits=0,
        )
    )
    worst = max(answer.fault for answer in idles)
    print(target("largest probability of a fault on any real idle", worst, 0.5, at_least=False))
    alone, _, with_reference = bench
    print(target("bench fault-free alone, largest fault", alone.fault, 0.5, at_least=False))
    meter = with_reference.probability("meter_high")
    print(target("bench x1.10 with reference, meter_high", meter, 0.8, at_least=True))
    size = with_reference.sizes.get("meter_high", {}).get("meter_high")
    holds = float(size is not None and size.low <= 1.10 <= size.high)
    told = f" ({size.value:.3f}, {size.low:.3f} to {size.high:.3f})" if size else ""
    print(target(f"its 90 % interval holds 1.10{told}", holds, 1, at_least=True, digits=0))
    print(target("overlays named", _mean([o.named for o in overlaid]), 0.92, at_least=True))
    on_truth = _mean([o.probability for o in overlaid])
    print(target("overlays, mean probability on the truth", on_truth, 0.85, at_least=True))
    gains = [o.size_error for o in overlaid if o.kind in ("meter", "pressure", "boost")]
    told_gains = [error for error in gains if np.isfinite(error)]
    print(
        target(
            "sensor gains, median size error", float(np.median(told_gains)), 0.02, at_least=False
        )
    )


def _mean(values: Sequence[float | bool]) -> float:
    return float(np.mean(values)) if values else float("nan")


def main() -> int:
    """Print it, or say that the recordings are not there."""
    if not DATA.is_dir():
        print(f"No real recordings: {DATA} is not there.", file=sys.stderr)
        return 2
    show(every_overlay="--all" in sys.argv[1:])
    return 0


if __name__ == "__main__":
    sys.exit(main())
