"""Banks whose trims differ at every flow: no cause here makes that, and where to look is known."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

import numpy as np

from bellmouth.finding.result import Evidence

if TYPE_CHECKING:
    from bellmouth.finding.case import Case

__all__ = ["apart_at_one_flow", "apart_evidence", "apart_said"]

_WORTH_SAYING = 0.04  # of total trim, as a logarithm: nearer to one another banks always differ
_LIKELY = 0.3  # that there is a leak, from where it is worth saying; our choice
_OTHER_FLOW = 1.5  # times the least air: there a leak's share is seen to be less; our choice


def _apart(case: "Case") -> tuple[int, float]:
    """The bank that is further from zero, and how far its trims stand off the other's [ln]."""
    o = case.observations
    trims = o.log_trim[o.judged]
    both = trims[np.isfinite(trims).all(axis=1)]
    if not len(both):
        return 1, 0.0
    first, second = np.median(both, axis=0)
    bank = 2 if abs(second) > abs(first) else 1
    of_each = both[:, bank - 1] - both[:, 2 - bank]
    return bank, float(np.median(of_each))


def apart_evidence(case: "Case") -> Iterator[Evidence]:
    """That the banks differ, in standard deviations of what those of sound engines do."""
    bank, off = _apart(case)
    if abs(off) < _WORTH_SAYING:
        return
    usual = float(case.priors.fuel["log_bank_split"])
    yield Evidence(
        f"total trim of bank {bank} against bank {3 - bank}'s, {np.expm1(off) * 100:+.1f} %",
        round(off / usual, 2),
        tuple(f"{term}_term_fuel_trim_bank_{one}" for one in (1, 2) for term in ("short", "long")),
    )


def apart_said(case: "Case") -> Iterator[str]:
    """Where to look when one bank's fuelling alone is off; common practice of the trade."""
    bank, off = _apart(case)
    if abs(off) < _WORTH_SAYING:
        return
    higher = bank if off > 0 else 3 - bank
    yield (
        f"The trims of bank {higher} stand {np.expm1(abs(off)) * 100:.0f} % above those of bank "
        f"{3 - higher}, and bank {bank}'s are the further from nothing. A leak near one bank makes "
        "that the less the more air there is, and no other cause here acts on one bank alone: look "
        f"at the injectors of bank {bank}, at its oxygen sensor and for an exhaust leak before it."
    )


def apart_at_one_flow(case: "Case", posterior: Mapping[str, float]) -> Iterator[str]:
    """That what is called a leak may be one bank's fuelling, where nothing recorded tells the two
    apart."""
    o = case.observations
    bank, off = _apart(case)
    leaks = sum(share for name, share in posterior.items() if "leak" in name.split("+"))
    both = o.judged & np.isfinite(o.log_trim).all(axis=1)
    if abs(off) < _WORTH_SAYING or leaks < _LIKELY or not both.any():
        return
    air = (o.metered_kg_s if o.airflow_metered else o.manifold_pa * o.speed_rev_s)[both]
    air = air[np.isfinite(air)]
    if len(air) and air.max() > _OTHER_FLOW * air.min():
        return
    higher = bank if off > 0 else 3 - bank
    yield (
        f"The trims of bank {higher} stand {np.expm1(abs(off)) * 100:.0f} % above those of bank "
        f"{3 - higher}, and both were read at one airflow alone. There a leak near bank {higher} "
        "and a fault of one bank's injectors, oxygen sensor or exhaust look alike: hold 2,500 rpm "
        "as well, where a leak's share is less and the other's is not."
    )
