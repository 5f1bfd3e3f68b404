"""The whole measurement: every figure that ``docs/accuracy.md`` quotes, and the targets."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure import DATA, real, scores, yardstick
from measure.after_checks import after_checks, right_after
from measure.cases import Sample, samples, with_later
from measure.followups import Followed, follow
from measure.judge import Judgement, judge
from measure.pool import spread
from measure.population import Judged, equal_weights, gather, gather_default, log_weights
from measure.quick import SHORT, splits
from measure.reliability import Reliability, reliability
from measure.simulated import Plan
from measure.size_errors import bound_table, errors_of, size_table
from measure.summary import ALIKE, Figures, by_split, confusion, figures
from measure.tables import heading, number, table
from measure.targets import targets

__all__ = ["OTHER_CAUSES", "Run", "measure", "show"]

#: Causes that need a sensor not every car has, and pairs; a fault-free car among them.
OTHER_CAUSES = (
    "healthy", "pressure_low", "pressure_high", "boost_low", "boost_high", "leak+meter_low",
    "leak+fuel_low", "leak+deposit", "meter_low+fuel_low", "meter_low+deposit",
)  # fmt: skip


@dataclass(frozen=True)
class Run:
    """What was judged: the main population, and the special ones beside it.

    ``variants`` are the like cases of the other variants, ``followed`` the main cases with checks,
    ``boosted`` the yardstick's probabilities on the main cases, learnt from other variants and
    from the very variant.
    """

    plan: Plan
    main: Sequence[Judgement]
    drive: Sequence[Judgement]
    reference: Sequence[Judgement]
    other: Sequence[Judgement]
    variants: Mapping[str, Sequence[Judgement]]
    followed: Sequence[Followed]
    boosted: Mapping[str, tuple[tuple[str, ...], np.ndarray[tuple[int, ...], np.dtype[np.float64]]]]


def measure(plan: Plan, count: int, processes: int, *, keep: bool) -> Run:
    """Draw and judge everything; simulated cases are cached."""
    main = samples(plan, count, processes, keep=keep)
    quarter, half = max(count // 4, 20), max(count // 2, 40)
    drive = samples(replace(plan, plans=("drive",)), quarter, processes, keep=keep)
    reference = samples(
        replace(plan, reference=True, seed=plan.seed + 50), half, processes, keep=keep
    )
    other_plan = replace(plan, causes=OTHER_CAUSES, seed=plan.seed + 60)
    other = samples(other_plan, quarter, processes, keep=keep)
    return Run(
        plan=plan,
        main=spread(judge, main, processes, "judging"),
        drive=spread(judge, drive, processes, "judging drives"),
        reference=spread(judge, reference, processes, "judging with reference"),
        other=spread(judge, other, processes, "judging pairs"),
        variants=_variants(plan, count, processes, keep=keep),
        followed=_followed(plan, main, processes, keep=keep),
        boosted=_boosted(plan, main, count, processes, keep=keep),
    )


def _followed(
    plan: Plan, main: Sequence[Sample], processes: int, *, keep: bool
) -> Sequence[Followed]:
    told = with_later(main, plan, processes, keep=keep)
    return [one for one in spread(follow, told, processes, "following up") if one]


def _variants(
    plan: Plan, count: int, processes: int, *, keep: bool
) -> Mapping[str, Sequence[Judgement]]:
    """The development variants, each judged on up to 200 of the cases that the yardstick needs."""
    found = {}
    for variant in "ABC":
        if variant != plan.variant:
            cases = samples(replace(plan, variant=variant), count, processes, keep=keep)[:200]
            found[variant] = spread(judge, cases, processes, f"judging variant {variant}")
    return found


def _boosted(
    plan: Plan, main: Sequence[Sample], count: int, processes: int, *, keep: bool
) -> Mapping[str, tuple[tuple[str, ...], np.ndarray[tuple[int, ...], np.dtype[np.float64]]]]:
    """The yardstick; variants D and E train nothing unless they are the one that is judged."""
    others = [
        sample
        for variant in "ABC"
        if variant != plan.variant
        for sample in samples(replace(plan, variant=variant), count, processes, keep=keep)
    ]
    more = samples(replace(plan, seed=plan.seed + 70), count, processes, keep=keep)
    return {
        f"boosted trees, {len(others)} cases of other variants": yardstick.trained_on(others, main),
        f"boosted trees, {count + len(more)} of this variant": yardstick.own_variant(main, more),
    }


def show(run: Run) -> None:
    """Print every table, the real recordings and the targets."""
    weights = equal_weights(run.plan.causes)
    fair = gather(run.main, lambda one: log_weights(one.names, weights))
    stated = gather_default(run.main)
    single = gather(
        run.main, lambda one: log_weights(one.names, dict.fromkeys(set(run.plan.causes), 1.0))
    )
    print(
        heading(
            f"Variant {run.plan.variant}, seed {run.plan.seed}: {len(run.main)} simulated cases"
        )
    )
    groups = splits(fair)
    print(by_split(groups | _beside(run, weights)))
    print("\nper variant, weights as drawn")
    print(by_split({f"variant {run.plan.variant}": fair} | _per_variant(run, weights)))
    print("\nStated weights (complaint unknown), equal weights, and healthy cars with no complaint")
    none = gather_default(run.main, "none").where(lambda one: one.sample.cause == "healthy")
    print(by_split({"stated": stated, "equal": single, "complaint none": none}))
    print(heading("By cause"))
    causes = dict.fromkeys(one.sample.cause for one in run.main)
    print(by_split({c: fair.only("cause", c) for c in causes}))
    print("\ntrue cause by top cause")
    print(confusion(fair, SHORT))
    print("\npairs and sensors that not every car has, stated weights")
    print(confusion(gather_default(run.other), SHORT))
    _reliability(fair)
    print(heading("Sizes, told under the true cause"))
    print(size_table(errors_of(run.main)))
    print("\nwith a reference")
    print(size_table(errors_of(run.reference)))
    print(heading("Against the Cramér-Rao bound of the finding's own model"))
    print(bound_table(errors_of(run.main)))
    print("\nwith a reference")
    print(bound_table(errors_of(run.reference)))
    checks = _followups(run.followed)
    boosted = _yardstick(run, fair)
    print(heading("Real recordings"))
    real.show(DATA) if DATA.is_dir() else print("not here; no figure above stands alone")
    print(heading("Targets on simulated cars"))
    print(targets(run, fair, checks, boosted))


def _beside(run: Run, weights: Mapping[str, float]) -> dict[str, Judged]:
    return {
        name: gather(some, lambda one: log_weights(one.names, weights))
        for name, some in (("a drive", run.drive), ("with a reference", run.reference))
    }


def _per_variant(run: Run, weights: Mapping[str, float]) -> dict[str, Judged]:
    return {
        f"variant {name}": gather(some, lambda one: log_weights(one.names, weights))
        for name, some in run.variants.items()
    }


def _reliability(judged: Judged) -> None:
    top = judged.probability.max(axis=1)
    right = scores.top(judged.probability) == judged.truth
    print(heading("Reliability of the top cause; the band holds a perfectly calibrated tool 95 %"))
    print(_bins(reliability(top, right)))
    hit = np.zeros_like(judged.probability)
    hit[np.arange(len(judged.truth)), judged.truth] = 1.0
    asked = judged.probability > 0
    print("\nof every cause that was asked about")
    print(_bins(reliability(judged.probability[asked], hit[asked] > 0)))


def _bins(found: Reliability) -> str:
    rows = [
        [
            f"{100 * b.low:.0f}-{100 * b.high:.0f} %", str(b.cases), number(b.predicted, 3),
            number(b.observed, 3), f"{b.band_low:.3f} to {b.band_high:.3f}",
            "" if b.inside else "outside",
        ]
        for b in found.bins
    ]  # fmt: skip
    text = table(("said", "cases", "predicted", "observed", "band", ""), rows)
    return f"{text}\ncalibration error {found.error:.3f}, 95 % bound {found.bound:.3f}"


def _followups(followed: Sequence[Followed]) -> list[float]:
    """Print, and return the share right before any check and after each."""
    print(heading("After checks, the first suggestion followed each time"))
    print(after_checks(followed))
    return [right_after(followed, step) for step in range(followed[0].probability.shape[0])]


def _yardstick(run: Run, fair: Judged) -> dict[str, Figures]:
    """Print and return the figures of boosted trees beside the finding's, on the same cases."""
    print(heading("Yardstick: no physics, plain features of the same operating points"))
    found = {"the finding": fair}
    for name, (causes, probability) in run.boosted.items():
        truth = np.array([causes.index(one.sample.cause) for one in run.main], dtype=np.intp)
        found[name] = Judged(tuple(run.main), causes, probability, truth)
    print(by_split(found))
    alike = [c for c in ALIKE if c in fair.causes]
    print(f"(as one: {' and '.join(alike)} counted as one)")
    return {name: figures(judged) for name, judged in found.items()}
