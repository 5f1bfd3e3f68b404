"""The figures of a set of judged cases as one row, and the splits as a table of such rows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from measure import scores
from measure.population import Judged
from measure.real_rows import SPARED
from measure.reliability import reliability
from measure.tables import number, table

__all__ = ["ALIKE", "HEADER", "MISSABLE", "Figures", "by_split", "confusion", "figures"]

#: Causes that nothing reported may separate.
ALIKE = ("meter_low", "fuel_low")
#: Faults of which at most a few may be called healthy.
MISSABLE = ("leak", "meter_low", "meter_high", "fuel_low", "fuel_high")
HEADER = (
    "cases", "n", "right", "as one", "p(truth)", "Brier", "cal.err", "95 %", "90 % set", "causes",
    "alarms", "missed",
)  # fmt: skip


@dataclass(frozen=True)
class Figures:
    """One row; shares from 0 to 1.

    ``merged`` counts meter-low and fuel-low as one; ``covered`` and ``causes`` are of the
    smallest set reaching 90 %; ``bound`` is what a perfectly calibrated tool's calibration
    error stays below nineteen times in twenty.
    """

    cases: int
    right: float
    merged: float
    on_truth: float
    brier: float
    calibration: float
    bound: float
    covered: float
    causes: float
    alarms: float
    missed: float


def figures(judged: Judged) -> Figures:
    """All figures of these cases."""
    p, truth = judged.probability, judged.truth
    inside, size = scores.smallest_sets(p, truth)
    honest = reliability(p.max(axis=1), scores.top(p) == truth)
    healthy = judged.column("healthy")
    return Figures(
        cases=len(truth),
        right=scores.accuracy(p, truth),
        merged=scores.merged_accuracy(p, truth, judged.columns(ALIKE)),
        on_truth=scores.mean_probability_on_truth(p, truth),
        brier=scores.brier(p, truth),
        calibration=honest.error,
        bound=honest.bound,
        covered=float(np.mean(inside)),
        causes=float(np.mean(size)),
        alarms=scores.false_alarms(p, truth, healthy, judged.columns(SPARED)),
        missed=scores.missed(p, truth, healthy, judged.columns(MISSABLE)),
    )


def _row(name: str, judged: Judged) -> list[str]:
    f = figures(judged)
    numbers = [f.right, f.merged, f.on_truth, f.brier, f.calibration, f.bound, f.covered]
    cells = [number(value, 3) for value in numbers]
    return [name, str(f.cases), *cells, number(f.causes), number(f.alarms, 3), number(f.missed, 3)]


def by_split(groups: Mapping[str, Judged]) -> str:
    """A table with one row a group; groups without cases are left out."""
    rows = [_row(name, judged) for name, judged in groups.items() if len(judged.truth)]
    return table(HEADER, rows)


def confusion(judged: Judged, short: Mapping[str, str]) -> str:
    """True cause by top cause, in cases; ``short`` names the columns."""
    named = np.array(judged.causes)[scores.top(judged.probability)]
    true = np.array(judged.causes)[judged.truth]
    order = {cause: None for cause in judged.causes if cause in set(true)}
    columns: Sequence[str] = [*order, *sorted(set(named) - set(order) - {"unexplained"})]
    singles = [c for c in columns if "+" not in c]
    header = ["truth", "n", *(short.get(c, c) for c in singles), "pair", "unexp", "p(truth)"]
    rows = []
    for cause in order:
        mine = true == cause
        found = named[mine]
        counts = [int(np.sum(found == c)) for c in singles]
        pairs = int(np.sum(np.char.find(found.astype(str), "+") >= 0))
        column = judged.column(cause)
        cells = [
            str(c) if c else "." for c in (*counts, pairs, int(np.sum(found == "unexplained")))
        ]
        mean = float(judged.probability[mine, column].mean())
        rows.append([cause, str(int(mine.sum())), *cells, number(mean)])
    return table(header, rows)
