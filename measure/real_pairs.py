"""The proof on real recordings: one healthy car on many days, and a bench engine whose airflow
signal was multiplied by 1.10."""

from collections import Counter
from pathlib import Path

from bellmouth.car.description import Car, Known
from bellmouth.errors import FindingError
from bellmouth.finding.prove import prove
from bellmouth.recording import read_recording
from measure import DATA

__all__ = ["show"]

_IDLE_CAR = Car(Known(1.496), "pressure", cylinders=4, banks=1)
_BENCH_CAR = Car(Known(2.0), "airflow", cylinders=4, banks=1, turbocharged=True)


def show(data: Path = DATA) -> None:
    """Print both; nothing where the recordings are not at hand."""
    if not data.is_dir():
        print(f"real recordings are not at {data}: nothing to show")
        return
    _idles(data)
    _bench(data)


def _idles(data: Path) -> None:
    """Each idle against the next and the fifth after it: nothing was done in between."""
    idles = [read_recording(path) for path in sorted((data / "idle").glob("idle_*.csv.gz"))]
    said: Counter[str] = Counter()
    odd = []
    for i, before in enumerate(idles):
        for step in (1, 5):
            after = idles[(i + step) % len(idles)]
            try:
                proof = prove(before, after, _IDLE_CAR)
            except FindingError as error:
                said["refused"] += 1
                odd.append(f"{after.source}: {error}")
                continue
            said[proof.verdict] += 1
            if proof.verdict in {"better", "worse"}:
                odd.append(
                    f"{before.source} -> {after.source}: {proof.verdict}, {proof.learning[0]}"
                )
    print(f"real healthy car, {sum(said.values())} pairs of days, nothing done: {dict(said)}")
    for line in odd:
        print(f"  {line}")


def _bench(data: Path) -> None:
    high, right = (
        read_recording(data / "bench" / f"{name}.csv.gz")
        for name in ("meter_reads_1_10", "fault_free")
    )
    for before, after, true in ((high, right, -0.10), (right, high, 0.10)):
        proof = prove(before, after, _BENCH_CAR)
        change = next((c.change for c in proof.changes if c.cause == "meter_high"), None)
        told = (
            f"{change.value:+.3f} ({change.low:+.3f} to {change.high:+.3f})" if change else "none"
        )
        print(
            f"bench {before.source} -> {after.source}: {proof.verdict}, change of meter_high {told}"
            f" (true about {true:+.2f}; no trims were recorded)"
        )
