"""How far sizes are off, how often their 90 % intervals hold the truth, and the bound on both."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measure.cases import Sample
from measure.judge import Judgement
from measure.tables import number, table

__all__ = ["SizeError", "bound_table", "errors_of", "size_table"]


@dataclass(frozen=True)
class SizeError:
    """One size: relative error, whether its interval holds the truth, the Cramér-Rao bound."""

    cause: str
    relative: float
    inside: bool
    error_log: float
    bound_log: tuple[float, ...]
    named: bool


def errors_of(judgements: Sequence[Judgement]) -> list[SizeError]:
    """Sizes told under the true cause; ``named`` marks those whose cause came out on top."""
    found = []
    for one in judgements:
        for cause, size in one.under_truth.items():
            true = _true_size(one.sample, cause, size.unit)
            found.append(
                SizeError(
                    cause=cause,
                    relative=abs(size.value / true - 1.0),
                    inside=size.low <= true <= size.high,
                    error_log=float(np.log(size.value / true)),
                    bound_log=one.bound.get(cause, ()),
                    named=one.top == one.sample.cause,
                )
            )
    return found


def _true_size(sample: Sample, cause: str, unit: str) -> float:
    """Stale learning may be told as air or as the area that passes it when choked."""
    true = sample.sizes[cause]
    return (
        true / sample.facts["choked_g_s_mm2"]
        if cause == "learned_stale" and unit == "mm2"
        else true
    )


def size_table(errors: Sequence[SizeError]) -> str:
    """Median error and coverage by cause, given the true cause and where it came out on top."""
    rows = []
    for cause in dict.fromkeys(e.cause for e in errors):
        mine = [e for e in errors if e.cause == cause]
        top = [e for e in mine if e.named]
        cells = [f"{number(100 * _median(group), 1)} %" for group in (mine, top)]
        held = [number(_share(group)) for group in (mine, top)]
        rows.append([cause, str(len(mine)), *cells, *held])
    return table(("size of", "n", "median error", "if named", "90 % holds", "if named"), rows)


def bound_table(errors: Sequence[SizeError]) -> str:
    """Spread of the actual errors (robust: 1.48 times the median) beside the Cramér-Rao bound of
    an engine that follows the laws and of one that does not, and the ratio to the first."""
    rows = []
    for cause in dict.fromkeys(e.cause for e in errors):
        mine = [
            e for e in errors if e.cause == cause and e.bound_log and np.isfinite(e.bound_log[0])
        ]
        if not mine:
            continue
        actual = 1.4826 * float(np.median([abs(e.error_log) for e in mine]))
        first, last = (float(np.median([e.bound_log[k] for e in mine])) for k in (0, -1))
        ratio = 1.4826 * float(np.median([abs(e.error_log) / e.bound_log[0] for e in mine]))
        cells = [f"{number(100 * value, 1)} %" for value in (first, last, actual)]
        rows.append([cause, str(len(mine)), *cells, number(ratio)])
    header = ("size of", "n", "bound, law holds", "law does not", "actual", "ratio to first")
    return table(header, rows)


def _median(errors: Sequence[SizeError]) -> float:
    return float(np.median([e.relative for e in errors])) if errors else float("nan")


def _share(errors: Sequence[SizeError]) -> float:
    return float(np.mean([e.inside for e in errors])) if errors else float("nan")
