"""What a recording made as a guided capture asks for is worth: ``python -m measure.guided``.

The same cars, faults, weather and purging: recorded as the measured cases are (idle and held speeds
in any order, loads whenever they come), and as `bellmouth record` asks: key on with the engine off,
hot, loads off, idle, 1,500 and 2,500 rpm, idle again. Then with the further speeds that the guide
would ask for, one after the other, and with every further one. Loads are off, and known to be, but
one person in fifteen forgets one. Each way is judged alone. Weights as cases are drawn.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from bellmouth.bus.expected import view
from bellmouth.bus.guide import course, extras
from bellmouth.bus.points import splitting_point
from bellmouth.errors import BellmouthError
from bellmouth.finding.case import solve
from bellmouth.practice.plans import PLAN_STEP_S, Plan
from bellmouth.practice.population import VARIANTS, Case, draw
from bellmouth.practice.scenario import SimulatedCase, run
from bellmouth.recording.steady import stretches
from measure import honesty
from measure.as_drawn import NAMES, probability_of
from measure.over_variants import asked
from measure.pool import spread
from measure.simulated import CAUSES
from measure.tables import table

__all__ = ["main"]

Floats = NDArray[np.float64]

_HEADS = ("recorded", "cases", *honesty.HEADS)
_WAYS = ("as cases are drawn", "as the guide asks", "and the speeds it asks for", "and all of them")
_CHUNK = 25
# The guide takes at least 15 s of each; how long people take is our choice. [s]
_OFF_S, _IDLE_S, _HELD_S, _AGAIN_S = 6.0, 45.0, 22.0, 30.0
_HELD_SD_RPM = 60.0
_HOT_C = 85.0
_FORGETS = 1 / 15  # a load that stays on though all were to be off; common practice, no source


@dataclass(frozen=True)
class _Answer:
    """Probabilities of the causes by each way of recording, (ways, causes)."""

    cause: str
    reports: str
    asked: int
    probability: Floats


def _plan(drawn: Plan, speeds_rpm: Sequence[float], rng: np.random.Generator) -> Plan:
    """Key on, idle, speeds held by a foot that is near them, idle; the purging that was drawn."""
    parts = [(0.0, _IDLE_S), *((rpm, _HELD_S) for rpm in speeds_rpm), (0.0, _AGAIN_S)]
    held = np.concatenate(
        [
            np.full(round(seconds / PLAN_STEP_S), rpm and rpm + rng.normal(0.0, _HELD_SD_RPM))
            for rpm, seconds in parts
        ]
    )
    off = np.zeros(round(_OFF_S / PLAN_STEP_S))
    held = np.concatenate([off, held])
    key = np.ones(len(held))
    key[: len(off)] = 0.0
    place = np.linspace(0.0, len(drawn.purge) - 1.0, len(held))
    purge = np.interp(place, np.arange(len(drawn.purge)), drawn.purge) * key
    load = key * float(rng.random() < _FORGETS)
    return Plan("held", key, held, np.zeros_like(held), load, purge)


def _guided(case: Case, speeds_rpm: Sequence[float]) -> Case:
    rng = np.random.default_rng([case.seed, VARIANTS.index(case.variant), case.number, 77])
    weather = replace(case.weather, coolant_c=np.maximum(case.weather.coolant_c, _HOT_C))
    return replace(case, plan=_plan(case.plan, speeds_rpm, rng), weather=weather)


def _answers(which: tuple[str, int, int, int]) -> list[_Answer]:
    """One chunk of cars, recorded and judged in every way."""
    variant, seed, number, count = which
    cases = draw(count, variant, seed * 10_000 + number, causes=CAUSES, plans=("held",))
    base = [step.speed_rpm for step in course() if step.speed_rpm]
    more = [step.speed_rpm for step in extras() if step.speed_rpm]
    drawn = run(cases, keep_true=False)
    plain = asked_for = _run([_guided(case, base) for case in cases])
    wanted: list[list[float]] = [[] for _ in cases]
    for _ in more:
        wanted = [[*had, *_further(one, had)] for had, one in zip(wanted, asked_for, strict=True)]
        again = [_guided(case, [*base, *had]) for case, had in zip(cases, wanted, strict=True)]
        asked_for = _run(again)
    every = _run([_guided(case, [*base, *more]) for case in cases])
    found = []
    for *ways, had in zip(drawn, plain, asked_for, every, wanted, strict=True):
        told = [_probability(way) for way in ways]
        if all(one is not None for one in told):
            first = ways[0]
            found.append(_Answer(first.truth.cause, first.reported, len(had), np.array(told)))
    return found


def _further(one: SimulatedCase, had: Sequence[float]) -> list[float]:
    """The speed that the guide would ask for next, after those that it ``had``, if any. [rpm]"""
    found = list(stretches(one.recording))
    left = [step for step in extras() if step.speed_rpm not in had]
    point = splitting_point(found, left, one.car, view(found, one.car))
    return [point.speed_rpm] if point and point.speed_rpm else []


def _run(cases: Sequence[Case]) -> list[SimulatedCase]:
    """Guided recordings, with the note that loads were to be off."""
    return [
        replace(one, recording=replace(one.recording, loads_off=True))
        for one in run(cases, keep_true=False)
    ]


def _probability(one: SimulatedCase) -> Floats | None:
    try:
        case = solve(stretches(one.recording), (), one.car)
    except BellmouthError:
        return None
    return probability_of(case)


def _rows(found: Sequence[_Answer], of: str) -> list[list[str]]:
    truth = np.array([NAMES.index(one.cause) for one in found])
    return [
        [
            f"{of}: {name}",
            str(len(found)),
            *honesty.cells(np.stack([one.probability[way] for one in found]), truth),
        ]
        for way, name in enumerate(_WAYS)
    ]


def main(arguments: list[str] | None = None) -> int:
    """Print the table for some variants together, and by what the car reports."""
    chosen = asked("guided", __doc__, arguments)
    size = min(_CHUNK, chosen.cases)
    chunks = [
        (variant, chosen.seed, number, size)
        for variant in chosen.variants
        for number in range(-(-chosen.cases // size))
    ]
    every = [one for found in spread(_answers, chunks, chosen.processes, "guided") for one in found]
    rows = _rows(every, "all")
    for reports in sorted({one.reports for one in every}):
        rows += _rows([one for one in every if one.reports == reports], reports)
    print(table(_HEADS, rows))
    counts = range(len(extras()) + 1)
    shares = (f"{np.mean([one.asked == count for one in every]):.0%} {count}" for count in counts)
    print(f"further speeds asked for: {', '.join(shares)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
