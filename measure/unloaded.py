"""What a simulated car idles at once every load is off."""

from dataclasses import replace

import numpy as np

from bellmouth.practice.plans import PLAN_STEP_S
from bellmouth.practice.plans import Plan as Course
from bellmouth.practice.population import draw
from bellmouth.practice.scenario import SimulatedCase, run
from measure.simulated import Plan

__all__ = ["unloaded_of_chunk"]

_OCCASION = 8
_SECONDS = 60.0
_SETTLED_S = 30.0


def unloaded_of_chunk(plan: Plan, number: int, count: int) -> list[float]:
    """Engine speed [rpm] after half a minute of warm idle without load or purge, for one chunk of
    a plan; the same car, fault and weather."""
    cases = draw(
        count, plan.variant, plan.seed * 10_000 + number, causes=plan.causes, plans=plan.plans
    )
    steps = int(_SECONDS / PLAN_STEP_S)
    nothing = np.zeros(steps)
    course = Course("idle", np.ones(steps), nothing, nothing, nothing, nothing)
    again = [replace(case, plan=course) for case in cases]
    return [_late_speed(one) for one in run(again, occasion=_OCCASION)]


def _late_speed(one: SimulatedCase) -> float:
    late = one.time_s > _SETTLED_S
    return float(np.median(one.true["speed_rpm"][late]))
