"""How far the idle opening of a simulated car falls once its plate is cleaned and idle learned."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bellmouth.practice.population import Case, draw
from bellmouth.practice.scenario import run
from measure.simulated import Plan, idle_opening_pct

__all__ = ["falls_of_chunk"]


def falls_of_chunk(plan: Plan, number: int, count: int) -> list[float]:
    """Opening at the lowest idle before less after [% of reading], for one chunk of a plan.

    The same drive in the same weather is driven again; a car with neither deposit nor stale
    learning is the same car again.
    """
    cases = draw(
        count, plan.variant, plan.seed * 10_000 + number, causes=plan.causes, plans=plan.plans
    )
    touched = [i for i, case in enumerate(cases) if _touched(case)]
    falls = [0.0] * count
    if touched:
        for i, fall in zip(touched, _falls([cases[i] for i in touched]), strict=True):
            falls[i] = fall
    return falls


def _touched(case: Case) -> bool:
    return bool({"deposit", "learned_stale"} & set(case.cause.split("+")))


def _falls(cases: Sequence[Case]) -> list[float]:
    none = np.zeros(1)
    clean = [
        replace(case, fault=replace(case.fault, deposit_mm2=none, stale_g_s=none)) for case in cases
    ]
    pairs = zip(run(cases), run(clean), strict=True)
    return [idle_opening_pct(before) - idle_opening_pct(after) for before, after in pairs]
