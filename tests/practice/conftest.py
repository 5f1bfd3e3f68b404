"""Small groups of practice cars, each simulated once for all tests."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from bellmouth.practice.plans import PLAN_STEP_S, Plan
from bellmouth.practice.population import Case, draw
from bellmouth.practice.scenario import SimulatedCase, run

Runner = Callable[[list[Case]], list[SimulatedCase]]


def plan_of(*parts: tuple[float, float]) -> Plan:
    """Held speed [rpm] (0 idle) and seconds, one after another, without loads or purge."""
    held = np.concatenate([np.full(int(s / PLAN_STEP_S), rpm) for rpm, s in parts])
    zero = np.zeros_like(held)
    return Plan("held", np.ones_like(held), held, zero, zero, zero)


COURSE = plan_of((0.0, 17.0), (2500.0, 14.0), (1500.0, 12.0))


def shortened(case: Case, seconds: float) -> Case:
    """The case with only the first ``seconds`` of its plan."""
    n = int(seconds / PLAN_STEP_S)
    plan = case.plan
    parts = (plan.key, plan.held_rpm, plan.road_kmh, plan.load, plan.purge)
    return replace(case, plan=Plan(plan.kind, *(p[:n] for p in parts)))


def on_course(cases: list[Case]) -> list[Case]:
    """The cases, warm, on the same short course of idle, 2500, 1500 and idle."""
    warm = [
        replace(c, plan=COURSE, weather=replace(c.weather, coolant_c=np.array([90.0])))
        for c in cases
    ]
    return [replace(c, car=replace(c.car, mature=np.ones(1))) for c in warm]


@pytest.fixture(scope="session")
def healthy_by_variant() -> dict[str, list[SimulatedCase]]:
    """Twelve healthy cars of each of four variants on the course."""
    return {v: run(on_course(draw(12, v, 7, causes=["healthy"]))) for v in "ABCE"}


@pytest.fixture(scope="session")
def drawn_sample() -> list[SimulatedCase]:
    """Recordings as the population has them, three variants, eight causes."""
    return run([shortened(c, 40.0) for v in "ACE" for c in draw(16, v, 3)])
