"""The finding against a nested sampler on the same posterior, on simulated cases.

Three cases in four are one recording, the fourth has one of the same car when good beside it.
"""

import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bellmouth.finding.case import prepare, solve_many
from measure.cases import samples
from measure.nested import Agreement, agreement
from measure.pool import spread
from measure.simulated import Plan
from measure.tables import number, target

__all__ = [
    "BESIDE",
    "CASES",
    "DRAWN",
    "HEADER",
    "agreement_targets",
    "agreements",
    "table_rows",
]

_CAUSES = ("healthy", "leak", "meter_low", "fuel_high", "deposit", "learned_stale")
_ALONE = Plan("A", 91, _CAUSES)
#: Recordings at idle and held speeds with one from when the car was good.
BESIDE = Plan("A", 90, _CAUSES, ("held",), reference=True)
#: Cars drawn of each plan.
DRAWN = 24
#: How many cases there are.
CASES = DRAWN * 4 // 3
#: Column heads of `table_rows`.
HEADER = (
    "case", "hypothesis", "unknowns", "evidence", "its error", "means [sd]", "calls", "took",
    "finding faster",
)  # fmt: skip


def agreements(places: Sequence[int], live: int, processes: int) -> list[Agreement]:
    """Each case's true cause sampled with ``live`` points and compared."""
    if not places:
        return []
    for plan in (_ALONE, BESIDE):
        samples(plan, DRAWN, processes)
    return spread(_agree, [(place, live) for place in places], processes, "sampling")


def _agree(which: tuple[int, int]) -> Agreement:
    place, live = which
    plan, car = (BESIDE, place // 4) if place % 4 == 3 else (_ALONE, place - place // 4)
    one = samples(plan, DRAWN, 1)[car]
    start = time.perf_counter()
    prepared = prepare(one.judged, one.references, one.car, f"case {one.number}")
    [case] = solve_many([prepared])
    took = time.perf_counter() - start
    found = agreement(
        prepared.problem, case.posterior, case.hypotheses.names.index(one.cause), took, live
    )
    beside = ", reference" if one.references else ""
    return replace(
        found, place=place, name=f"{one.reports} {one.plan}{beside}", hypothesis=one.cause
    )


def table_rows(found: Sequence[Agreement]) -> list[list[str]]:
    """A row a case."""
    return [
        [
            f"{one.place} {one.name}", one.hypothesis, str(one.unknowns), number(one.evidence),
            number(one.error), number(one.means), str(one.calls), f"{one.seconds:.1f} s",
            number(one.faster, 0),
        ]
        for one in found
    ]  # fmt: skip


def agreement_targets(found: Sequence[Agreement]) -> list[str]:
    """How many agree as they should, and by how much the finding is faster."""
    if not found:
        return []
    sized = [one for one in found if np.isfinite(one.means)]
    close = sum(abs(one.evidence) <= 0.5 for one in found)
    alike = sum(one.means <= 0.3 for one in sized)
    return [
        target(
            f"log evidence within 0.5, of {len(found)}", close, len(found), at_least=True, digits=0
        ),
        target(
            f"means within 0.3 sd, of {len(sized)} with a size", alike, len(sized),
            at_least=True, digits=0,
        ),
        target(
            "times faster, least", min(one.faster for one in found), 50, at_least=True, digits=0
        ),
    ]  # fmt: skip
