"""The practice car's population as measured cases: recordings, car files, truths and facts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bellmouth.car.description import Car
from bellmouth.practice.plans import PLAN_STEP_S
from bellmouth.practice.plans import Plan as Course
from bellmouth.practice.population import Case, draw
from bellmouth.practice.scenario import SimulatedCase, run, run_reference
from bellmouth.recording.series import Recording

__all__ = ["CAUSES", "VERSION", "Plan", "Simulated", "chunk", "idle_opening_pct"]

#: Part of the name of cached cases: raise it when what is kept of a case changes.
VERSION = 3

#: Eight causes, healthy three times in ten.
CAUSES = (
    "healthy", "leak", "meter_low", "meter_high", "healthy", "fuel_low", "fuel_high", "deposit",
    "healthy", "learned_stale",
)  # fmt: skip
_OCCASION_2500 = 7


@dataclass(frozen=True)
class Plan:
    """What to draw: a variant, how the causes are shared, what is recorded.

    ``causes`` are drawn in equal shares (repeat one to give it more), ``plans`` are kinds of
    recording (``None``: the practice car's own mixture); ``reference`` adds a recording of each
    car from when it was good.
    """

    variant: str
    seed: int
    causes: tuple[str, ...]
    plans: tuple[str, ...] | None = None
    reference: bool = False


@dataclass(frozen=True)
class Simulated:
    """A case before its stretches are found.

    ``facts`` are true values that the outcomes of follow-up checks are drawn from: what the
    manifold and boost sensors read over the barometer with the key on, the opening at the lowest
    idle in per cent of reading, the total trim held at 2,500 rpm, and what a square millimetre
    passes from outside when choked [g/s].
    """

    number: int
    variant: str
    cause: str
    sizes: Mapping[str, float]
    reports: str
    plan: str
    complaint: str
    car: Car
    recording: Recording
    references: Sequence[Recording]
    facts: Mapping[str, float]


def chunk(plan: Plan, number: int, count: int) -> list[Simulated]:
    """``count`` cases, the ``number``-th such group of a plan."""
    cases = draw(
        count, plan.variant, plan.seed * 10_000 + number, causes=plan.causes, plans=plan.plans
    )
    made = run(cases)
    references = run_reference(cases) if plan.reference else []
    held = _trim_at_2500(cases)
    return [
        Simulated(
            number=number * count + i,
            variant=one.variant,
            cause=one.truth.cause,
            sizes=dict(one.truth.sizes),
            reports=one.reported,
            plan=one.plan,
            complaint=one.typical_complaint,
            car=one.car,
            recording=one.recording,
            references=[references[i].recording] if references else [],
            facts=_facts(one) | {"trim_2500_pct": held[i]},
        )
        for i, one in enumerate(made)
    ]


def _facts(one: SimulatedCase) -> dict[str, float]:
    car, fault = one.case.car.row(0), one.case.fault.row(0)
    weather = one.case.weather.row(0)
    outside = weather["barometric_kpa"]
    sensed = car["pressure_gain"] * np.exp(fault["pressure_log"])
    return {
        "key_on": float(sensed + car["pressure_offset_kpa"] / outside),
        "boost": float(car["boost_gain"] * np.exp(fault["boost_log"])),
        "fuel": float(np.exp(fault["fuel_log"])),
        "choked_g_s_mm2": 0.2362
        * outside
        / 100.0
        * (293.15 / (273.15 + weather["ambient_c"])) ** 0.5,
        "idle_opening_pct": idle_opening_pct(one),
    }


def idle_opening_pct(one: SimulatedCase) -> float:
    """Opening over the stop at idle [% of reading]; NaN where it never idles."""
    idling = (one.true["pedal_deg"] <= 0) & (one.true["speed_rpm"] > 300)
    if not idling.any():
        return float("nan")
    opening = float(np.median(one.true["opening_deg"][idling]))
    return opening * float(one.case.car.row(0)["reading_pct_deg"])


def _trim_at_2500(cases: Sequence[Case]) -> list[float]:
    """Total trim [%] of each car held at 2,500 rpm, after ten seconds of idle; NaN in open loop."""
    steps = int(40.0 / PLAN_STEP_S)
    held = np.zeros(steps)
    held[int(10.0 / PLAN_STEP_S) :] = 2500.0
    nothing = np.zeros(steps)
    course = Course("held", np.ones(steps), held, nothing, nothing, nothing)
    again = [replace(case, plan=course) for case in cases]
    return [_late_trim(one) for one in run(again, occasion=_OCCASION_2500)]


def _late_trim(one: SimulatedCase) -> float:
    late = (one.time_s > 25.0) & (one.true["closed_loop"] > 0.5)
    if not late.any():
        return float("nan")
    return 100.0 * float(np.median((one.true["short_1"] + one.true["long_1"])[late]))
