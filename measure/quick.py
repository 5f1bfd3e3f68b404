"""One compact page for development: figures, splits, confusions, sizes."""

from collections.abc import Sequence

import numpy as np

from measure.judge import Judgement
from measure.population import Judged, equal_weights, gather, gather_default, log_weights
from measure.simulated import Plan
from measure.size_errors import bound_table, errors_of, size_table
from measure.summary import by_split, confusion

__all__ = ["SHORT", "show", "splits"]

#: Column heads of the confusion table.
SHORT = {
    "healthy": "heal", "leak": "leak", "meter_low": "m_lo", "meter_high": "m_hi",
    "fuel_low": "f_lo", "fuel_high": "f_hi", "deposit": "depo", "learned_stale": "stal",
    "pressure_low": "p_lo", "pressure_high": "p_hi", "boost_low": "b_lo", "boost_high": "b_hi",
}  # fmt: skip


def splits(judged: Judged) -> dict[str, Judged]:
    """All cases, then by what the car reports and by what was recorded."""
    found = {"all": judged}
    for reports in ("airflow+pressure", "airflow", "pressure"):
        found[reports] = judged.only("reports", reports)
    for plan in ("idle", "held", "drive"):
        found[plan] = judged.only("plan", plan)
    return found


def show(plan: Plan, judgements: Sequence[Judgement], drawing_s: float, judging_s: float) -> None:
    """Print the page."""
    ms = 1e3 * float(np.median([one.seconds for one in judgements]))
    print(
        f"variant {plan.variant}, seed {plan.seed}, {len(judgements)} cases"
        f"{', with reference' if plan.reference else ''}; drawn in {drawing_s:.0f} s, judged in "
        f"{judging_s:.0f} s, median {ms:.0f} ms"
    )
    weights = equal_weights(plan.causes)
    fair = gather(judgements, lambda one: log_weights(one.names, weights))
    stated = gather_default(judgements)
    print("\nweights as the cases were drawn")
    print(by_split(splits(fair)))
    print("\nstated weights, complaint unknown")
    print(by_split({"all": stated}))
    none = gather_default(judgements, "none")
    print(by_split({"complaint none": none.where(lambda one: one.sample.cause == "healthy")}))
    print("\ntrue cause by top cause, stated weights")
    print(confusion(stated, SHORT))
    errors = errors_of(judgements)
    print("\nsizes under the true cause")
    print(size_table(errors))
    print("\nagainst the Cramér-Rao bound of the finding's own model")
    print(bound_table(errors))
    refused = [one for one in judgements if one.refused]
    for one in refused[:5]:
        print(f"refused {one.sample.number} ({one.sample.plan}): {one.refused}")
    if refused:
        print(f"{len(refused)} refused in all")
