"""What a second recording of the car as it is adds: ``python -m measure.together``.

The same car with the same fault on another day (other weather, another tank, other loads), idle and
held speeds recorded; each recording judged alone, and both together. Weights as cases are drawn.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bellmouth.errors import BellmouthError
from bellmouth.finding.case import solve
from bellmouth.practice.faults import draw_weather
from bellmouth.practice.plans import draw_plan
from bellmouth.practice.population import VARIANTS, draw
from bellmouth.practice.population import Case as Drawn
from bellmouth.practice.scenario import run
from bellmouth.recording.steady import stretches
from bellmouth.recording.stretch import Stretch
from measure import honesty
from measure.as_drawn import NAMES, probability_of
from measure.cases import CHUNK, Sample, cached, samples, stored
from measure.over_variants import asked
from measure.pool import spread
from measure.simulated import CAUSES, Plan
from measure.tables import table

__all__ = ["main"]

Floats = NDArray[np.float64]

_OCCASION = 50
_HEADS = ("judged", "cases", *honesty.HEADS)
_WAYS = ("the first", "the second", "both together")


@dataclass(frozen=True)
class _Answer:
    """Probabilities of the causes by each way of judging, (ways, causes)."""

    sample: Sample
    probability: Floats


def _other_day(case: Drawn) -> Drawn:
    mark = [case.seed, VARIANTS.index(case.variant), case.number, 1000 + _OCCASION]
    rng = np.random.default_rng(mark)
    weather = draw_weather(rng, case.car, np.zeros(1))
    blend = np.clip(case.weather.ethanol_pct + rng.normal(0.0, 2.0, 1), 0.0, 85.0)
    blend = np.minimum(blend, np.where(case.car.flex > 0, 85.0, 10.0))
    plan = draw_plan(rng, "held", key_on=bool(rng.random() < 0.33), cold=False)
    return replace(case, weather=replace(weather, ethanol_pct=blend), plan=plan)


def _second(plan: Plan, number_: int, size: int) -> list[tuple[Stretch, ...]]:
    """Another day's stretches of each car of a chunk."""
    cases = draw(
        size, plan.variant, plan.seed * 10_000 + number_, causes=plan.causes, plans=plan.plans
    )
    again = run([_other_day(case) for case in cases], occasion=_OCCASION)
    return [tuple(stretches(one.recording)) for one in again]


def _chunk(which: tuple[Plan, int, int]) -> list[tuple[Stretch, ...]]:
    plan, number_, size = which
    name = f"{plan.variant}-{plan.seed}-{number_}-{size}"
    path = stored("second", name, ["practice", "recording"])
    return cached(path, lambda: _second(plan, number_, size))


def _answer(which: tuple[Sample, tuple[Stretch, ...]]) -> _Answer | None:
    sample, second = which
    try:
        cases = (
            solve(sample.judged, (), sample.car),
            solve(second, (), sample.car),
            solve(sample.judged, (), sample.car, also=[second]),
        )
    except BellmouthError:
        return None
    return _Answer(sample, np.stack([probability_of(case) for case in cases]))


def _rows(found: Sequence[_Answer], of: str) -> list[list[str]]:
    truth = np.array([NAMES.index(one.sample.cause) for one in found])
    return [
        [
            f"{of}: {name}",
            str(len(found)),
            *honesty.cells(np.stack([one.probability[way] for one in found]), truth),
        ]
        for way, name in enumerate(_WAYS)
    ]


def main(arguments: list[str] | None = None) -> int:
    """Print the table for some variants together, by what the first recording holds and by what
    the car reports."""
    chosen = asked("together", __doc__, arguments)
    every: list[_Answer] = []
    for variant in chosen.variants:
        plan = Plan(variant, chosen.seed, CAUSES)
        drawn = samples(plan, chosen.cases, chosen.processes)
        size = min(CHUNK, chosen.cases)
        chunks = [(plan, chunk, size) for chunk in range(-(-chosen.cases // size))]
        seconds = [
            one for found in spread(_chunk, chunks, chosen.processes, variant) for one in found
        ]
        pairs = list(zip(drawn, seconds[: len(drawn)], strict=True))
        every += [one for one in spread(_answer, pairs, chosen.processes, variant) if one]
    rows = _rows(every, "all")
    for kind in ("idle", "held"):
        rows += _rows([one for one in every if one.sample.plan == kind], f"{kind} first")
    for reports in sorted({one.sample.reports for one in every}):
        rows += _rows([one for one in every if one.sample.reports == reports], reports)
    print(table(_HEADS, rows))
    return 0


if __name__ == "__main__":
    sys.exit(main())
