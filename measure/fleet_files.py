"""A fleet on disk for `measure.survey_cost`: simulated recordings, then copies of them.

A few hundred distinct recordings are simulated (about three minutes, 900 to 3,200 rows, as
`measure.bench` takes them); where more are asked for, the same files stand there again under other
names as other cars. Whatever the number, the kinds of cars are mixed alike: or a cost that depends
on the kind would look like one that depends on the number.
"""

import json
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from bellmouth.car.description import Car
from bellmouth.practice.polling import write_csv
from measure.cases import recordings
from measure.results import FOLDER
from measure.simulated import Plan, Simulated

__all__ = ["Fleet", "fleet"]

_CAUSES = ("healthy", "leak", "meter_low", "fuel_high", "deposit", "learned_stale")
_SEED = 93
_VARIANTS = "ABCDE"
_EACH = 120
_ORDER = "mixed"
_KEYS = ("displacement_l", "metering", "cylinders", "banks")


@dataclass(frozen=True)
class Fleet:
    """A folder of recordings and the table of their cars, and how many are distinct."""

    folder: Path
    cars: Path
    count: int
    distinct: int
    bytes: int

    @property
    def files(self) -> list[Path]:
        """Every recording."""
        return sorted(self.folder.glob("*.csv"))


def fleet(count: int) -> Fleet:
    """``count`` recordings, made once and kept: remove the folders to have them drawn anew."""
    folder, cars = FOLDER / f"fleet-{count}", FOLDER / f"fleet-{count}.cars.csv"
    told = FOLDER / f"fleet-{count}.json"
    kept = json.loads(told.read_text(encoding="utf-8")) if told.is_file() else {}
    if kept.pop("order", None) == _ORDER:
        return Fleet(folder, cars, **kept)
    originals = _mixed(_originals())
    folder.mkdir(parents=True, exist_ok=True)
    lines = [",".join(("car", *_KEYS))]
    size = 0
    for number in range(count):
        file, row = originals[number % len(originals)]
        link = folder / f"car{number:05}.csv"
        link.unlink(missing_ok=True)
        os.link(file, link)
        size += file.stat().st_size
        lines.append(f"car{number:05},{row}")
    cars.write_text("\n".join(lines) + "\n", encoding="utf-8")
    facts = {"count": count, "distinct": min(count, len(originals)), "bytes": size}
    told.write_text(json.dumps({"order": _ORDER, **facts}), encoding="utf-8")
    return Fleet(folder, cars, **facts)


def _mixed(originals: Sequence[tuple[Path, str]]) -> list[tuple[Path, str]]:
    """The same in an order of which every beginning is a fair sample: steps of the golden section,
    rounded so that they meet every place."""
    count = len(originals)
    step = next(n for n in range(round(0.618 * count), count + 1) if math.gcd(n, count) == 1)
    return [originals[place * step % count] for place in range(count)]


def _originals() -> list[tuple[Path, str]]:
    """The distinct recordings, each with its car's row."""
    folder = FOLDER / "fleet-originals"
    folder.mkdir(parents=True, exist_ok=True)
    found = []
    for variant in _VARIANTS:
        for one in recordings(Plan(variant, _SEED, _CAUSES), _EACH):
            if not _usual(one):
                continue
            file = folder / f"{variant}{one.number:03}.csv"
            if not file.exists():
                write_csv(one.recording, file)
            found.append((file, _row(one.car)))
    return found


def _usual(one: Simulated) -> bool:
    rows = {float(time) for series in one.recording.series.values() for time in series.time_s}
    return 900 <= len(rows) <= 3200


def _row(car: Car) -> str:
    return f"{car.displacement_l.value},{car.metering},{car.cylinders},{car.banks}"
