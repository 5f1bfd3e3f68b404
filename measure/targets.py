"""What must be reached on simulated cars, against what is."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from measure import scores
from measure.judge import Judgement
from measure.population import Judged, equal_weights, gather, gather_default, log_weights
from measure.size_errors import SizeError, errors_of
from measure.summary import ALIKE, Figures, figures
from measure.tables import target

if TYPE_CHECKING:
    from measure.full import Run

__all__ = ["targets"]

_CHECKS = (0.85, 0.92, 0.96)
_PLACES = {"airflow+pressure": 0.82, "airflow": 0.79, "pressure": 0.68}
_PLANS = {"idle": 0.62, "held": 0.81}
_RATIOS = ("meter_low", "meter_high", "fuel_low", "fuel_high")


def targets(
    run: "Run", fair: Judged, checks: Sequence[float], boosted: Mapping[str, Figures]
) -> str:
    """One line a target, said to be met or missed."""
    lines = [*_right(fair), *_with_reference(run), *_honest(run, fair), *_sizes(run)]
    lines += [
        target(f"right after {step} checks", value, bound, at_least=True)
        for step, (value, bound) in enumerate(zip(checks[1:], _CHECKS, strict=False), start=1)
    ]
    ours, others, own = (f.right for f in boosted.values())
    lines.append(
        target("right, less boosted trees of other variants", ours - others, 0.05, at_least=True)
    )
    lines.append(
        target("right, less boosted trees of this variant", ours - own, -0.02, at_least=True)
    )
    return "\n".join(lines)


def _right(fair: Judged) -> list[str]:
    all_of = figures(fair)
    lines = [target("top cause right", all_of.right, 0.76, at_least=True)]
    for reports, bound in _PLACES.items():
        part = fair.only("reports", reports)
        lines.append(target(f"top cause right, {reports}", _share(part), bound, at_least=True))
    for plan, bound in _PLANS.items():
        part = fair.only("plan", plan)
        lines.append(target(f"top cause right, {plan}", _share(part), bound, at_least=True))
    lines.append(
        target(
            "meter-low and fuel-low as one, both named where mistaken",
            _named_both(fair),
            0.84,
            at_least=True,
        )
    )
    return lines


def _named_both(judged: Judged) -> float:
    """Right, or one of the two for the other where the finding names the other as confusable."""
    right = scores.top(judged.probability) == judged.truth
    for row, one in enumerate(judged.judgements):
        named = judged.causes[int(np.argmax(judged.probability[row]))]
        truth = one.sample.cause
        if {named, truth} == set(ALIKE):
            right[row] = truth in one.confusable or named in one.confusable
    return float(np.mean(right))


def _share(judged: Judged) -> float:
    return scores.accuracy(judged.probability, judged.truth)


def _with_reference(run: "Run") -> list[str]:
    weights = equal_weights(run.plan.causes)
    found = figures(gather(run.reference, lambda one: log_weights(one.names, weights)))
    errors = errors_of(run.reference)
    return [
        target("with a reference, right", found.right, 0.94, at_least=True),
        target("with a reference, p(truth)", found.on_truth, 0.90, at_least=True),
        target(
            "with a reference, deposit, median error",
            _median(errors, ("deposit",)),
            0.08,
            at_least=False,
        ),
        target(
            "with a reference, leak, median error", _median(errors, ("leak",)), 0.03, at_least=False
        ),
    ]


def _honest(run: "Run", fair: Judged) -> list[str]:
    f = figures(fair)
    stated = figures(gather_default(run.main))
    none = figures(gather_default(run.main, "none"))
    return [
        target("Brier", f.brier, 0.34, at_least=False),
        target(
            "calibration error, against its own 95 % bound",
            f.calibration,
            round(f.bound, 3),
            at_least=False,
        ),
        target("smallest 90 % set holds the truth", f.covered, 0.88, at_least=True),
        target("smallest 90 % set holds the truth", f.covered, 0.98, at_least=False),
        target("causes in it", f.causes, 2.2, at_least=False, digits=2),
        target("false alarms, complaint unknown", stated.alarms, 0.05, at_least=False),
        target("false alarms, complaint none", none.alarms, 0.01, at_least=False),
        target("missed leaks, meter and fuel errors", stated.missed, 0.05, at_least=False),
    ]


def _sizes(run: "Run") -> list[str]:
    metered = [one for one in run.main if one.sample.reports != "pressure"]
    other = [one for one in run.main if one.sample.reports == "pressure"]
    every = errors_of(run.main)
    lines = [
        target("leak, median error, airflow metered", _leak(metered), 0.03, at_least=False),
        target("leak, median error, pressure metered", _leak(other), 0.08, at_least=False),
        target("meter and fuel, median error", _median(every, _RATIOS), 0.01, at_least=False),
        target("deposit, median error", _median(every, ("deposit",)), 0.20, at_least=False),
    ]
    for cause in dict.fromkeys(error.cause for error in every):
        held = float(np.mean([error.inside for error in every if error.cause == cause]))
        lines.append(target(f"90 % interval of {cause} holds the truth", held, 0.86, at_least=True))
    return lines


def _leak(judgements: Sequence[Judgement]) -> float:
    return _median(errors_of(judgements), ("leak",))


def _median(errors: Sequence[SizeError], causes: Sequence[str]) -> float:
    mine = [error.relative for error in errors if error.cause in causes]
    return float(np.median(mine)) if mine else float("nan")
