"""Faults laid over the real recordings, and how often they are named.

Every figure here is of overlays (see `measure.overlay`), not of faults that an engine had.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from bellmouth.car.description import Car
from bellmouth.recording.series import Recording
from measure import overlay
from measure.real_rows import Answer, ask
from measure.tables import number, table

__all__ = ["Overlaid", "bench_overlays", "idle_overlays", "overlay_table"]

_GAINS = (0.8, 0.85, 0.9, 1.1, 1.15, 1.2)
_DIAMETERS_MM = (1.5, 2.0, 2.5, 3.0, 4.0, 6.0)
_MOST_OF_IDLE = 0.8  # a plate cannot give up more than this
_METER, _PRESSURE = "mass_air_flow", "intake_manifold_pressure"


@dataclass(frozen=True)
class Overlaid:
    """One overlay: the causes that count as right, the true size, what was found."""

    kind: str
    right: tuple[str, ...]
    size: float
    answer: Answer

    @property
    def named(self) -> bool:
        """Whether a right cause came out on top."""
        return self.answer.top in self.right

    @property
    def probability(self) -> float:
        """Of the right causes together."""
        return sum(self.answer.probability(cause) for cause in self.right)

    @property
    def size_error(self) -> float:
        """Relative error of the size told under the first right cause; NaN without one."""
        cause = self.right[0]
        sizes = self.answer.sizes.get(cause, {})
        return abs(sizes[cause].value / self.size - 1.0) if cause in sizes else float("nan")

    @property
    def inside(self) -> bool:
        """Whether the 90 % interval holds the true size."""
        size = self.answer.sizes.get(self.right[0], {}).get(self.right[0])
        return size is not None and size.low <= self.size <= size.high


def bench_overlays(good: Recording, other: Recording, car: Car) -> list[Overlaid]:
    """Overlays on the bench engine, each judged with a fault-free recording as reference.

    ``good`` is split in time, each half the other's reference; ``other``, the second run with its
    meter put right, is judged against the whole of ``good``.
    """
    first, second = overlay.between(good, 0.0, 0.5), overlay.between(good, 0.5, 1.01)
    mended = overlay.scaled(other, _METER, 1 / 1.10)
    pairs = (("first half", first, second), ("second half", second, first), ("run 2", mended, good))
    return [
        Overlaid(kind, right, size, ask(f"{where}, {kind} {size:g}", judged, car, [reference]))
        for where, base, reference in pairs
        for kind, right, size, judged in _bench_faults(base)
    ]


def _bench_faults(
    base: Recording,
) -> Iterator[tuple[str, tuple[str, ...], float, Recording]]:
    yield "none", ("healthy",), 1.0, base
    for gain in _GAINS:
        way = "high" if gain > 1 else "low"
        yield "meter", (f"meter_{way}",), gain, overlay.scaled(base, _METER, gain)
        yield "pressure", (f"pressure_{way}",), gain, overlay.scaled(base, _PRESSURE, gain)
    for gain in (0.9, 1.1):
        way = "high" if gain > 1 else "low"
        yield "boost", (f"boost_{way}",), gain, overlay.scaled(base, "boost_pressure", gain)
    for diameter in _DIAMETERS_MM:
        if overlay.hole_over_least_flow(base, diameter) < _MOST_OF_IDLE:
            laid = overlay.leak_plate_closes(base, diameter)
            yield "leak, plate closes", ("leak",), diameter, laid
        raised = overlay.leak_pressure_rises(base, diameter)
        yield "leak, pressure rises", ("leak",), diameter, raised


def idle_overlays(
    idles: Sequence[tuple[str, Recording]], car: Car, *, reference: bool
) -> list[Overlaid]:
    """Fuel faults laid over every third idle; a pressure-metered car's own meter reads alike.

    The reference is the idle recorded before or after it.
    """
    found = []
    for place in range(0, len(idles), 3):
        name, recording = idles[place]
        neighbour = idles[place + 1 if place + 1 < len(idles) else place - 1][1]
        for ratio in (0.8, 0.88, 1.12, 1.25):
            right = ("fuel_low", "meter_low") if ratio < 1 else ("fuel_high", "meter_high")
            judged = overlay.fuel(recording, ratio)
            references = [neighbour] if reference else []
            answer = ask(f"{name}, fuel {ratio:g}", judged, car, references)
            found.append(Overlaid("fuel", right, ratio, answer))
    return found


def overlay_table(overlaid: Sequence[Overlaid]) -> str:
    """By kind of fault: named, mean probability on it, size error, coverage."""
    groups = {
        kind: [o for o in overlaid if o.kind == kind]
        for kind in dict.fromkeys(o.kind for o in overlaid)
    }
    groups["all"] = list(overlaid)
    rows = []
    for kind, mine in groups.items():
        errors = [o.size_error for o in mine if np.isfinite(o.size_error) and o.kind != "none"]
        cells = [
            number(float(np.mean([o.named for o in mine]))),
            number(float(np.mean([o.probability for o in mine]))),
        ]
        median = f"{100 * float(np.median(errors)):.1f} %" if errors else "-"
        worst = f"{100 * max(errors):.1f} %" if errors else "-"
        held = (
            number(float(np.mean([o.inside for o in mine if o.kind != "none"]))) if errors else "-"
        )
        rows.append([kind, str(len(mine)), *cells, median, worst, held])
    return table(("overlay", "n", "named", "p(truth)", "size error", "worst", "90 % holds"), rows)
