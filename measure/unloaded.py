"""What a simulated car idles at once every load is off, and what putting one thing right changes
there: idle learning done anew, a meter that reads as it should."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from bellmouth.practice.plans import PLAN_STEP_S
from bellmouth.practice.plans import Plan as Course
from bellmouth.practice.population import Case, draw
from bellmouth.practice.scenario import SimulatedCase, run
from measure.simulated import Plan

__all__ = ["unloaded_of_chunk"]

_OCCASION = 8
_SECONDS = 60.0
_SETTLED_S = 30.0
_HOT_C = 88.0
_PUT_RIGHT = {"learned_stale", "meter_low", "meter_high"}


def unloaded_of_chunk(plan: Plan, number: int, count: int) -> list[Mapping[str, float]]:
    """Facts of half a minute of warm idle without load or purge, for one chunk of a plan; the same
    cars, faults and weather.

    ``unloaded_rpm`` is the engine speed, ``relearned_rpm`` how much it falls once idle is learned
    anew, ``swapped_pct`` how much nearer to zero the total trim comes with a meter that is right.
    """
    cases = draw(
        count, plan.variant, plan.seed * 10_000 + number, causes=plan.causes, plans=plan.plans
    )
    before = [_late(one) for one in _idle(cases)]
    after = list(before)
    touched = [i for i, case in enumerate(cases) if _PUT_RIGHT & set(case.cause.split("+"))]
    if touched:
        for i, one in zip(touched, _idle([_right(cases[i]) for i in touched]), strict=True):
            after[i] = _late(one)
    return [
        {"unloaded_rpm": rpm, "relearned_rpm": rpm - later_rpm, "swapped_pct": trim - later_trim}
        for (rpm, trim), (later_rpm, later_trim) in zip(before, after, strict=True)
    ]


def _idle(cases: Sequence[Case]) -> list[SimulatedCase]:
    steps = int(_SECONDS / PLAN_STEP_S)
    nothing = np.zeros(steps)
    course = Course("idle", np.ones(steps), nothing, nothing, nothing, nothing)
    hot = [
        replace(case.weather, coolant_c=np.maximum(case.weather.coolant_c, _HOT_C))
        for case in cases
    ]
    again = [
        replace(case, plan=course, weather=weather)
        for case, weather in zip(cases, hot, strict=True)
    ]
    return run(again, occasion=_OCCASION)


def _right(case: Case) -> Case:
    none = np.zeros(1)
    fault = replace(case.fault, stale_g_s=none)
    if case.car.airflow_metered[0] > 0:  # a controller that computes its air has no meter to swap
        fault = replace(fault, meter_log=none, meter_bend=none)
    return replace(case, fault=fault)


def _late(one: SimulatedCase) -> tuple[float, float]:
    """Engine speed of the second half [rpm], and how far from zero the total trim is [%]."""
    late = one.time_s > _SETTLED_S
    closed = late & (one.true["closed_loop"] > 0.5)
    total = (one.true["short_1"] + one.true["long_1"])[closed]
    trim = 100.0 * abs(float(np.median(total))) if closed.any() else 0.0
    return float(np.median(one.true["speed_rpm"][late])), trim
