"""The forecast through real findings: practice cars whose plates get dirty, a recording at every
visit, and the finding that Bellmouth makes of it:
``python -m measure.forecast_findings --cars 40 --variant A``.
"""

import argparse
from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import date, timedelta

import numpy as np

from bellmouth.book.assumptions import load_assumptions
from bellmouth.book.histories import deposit_read
from bellmouth.book.recordings import idle_opening
from bellmouth.book.visits import CarVisits, Visit
from bellmouth.errors import FindingError
from bellmouth.finding import find
from bellmouth.practice import population, scenario
from bellmouth.practice.faults import draw_weather, sizes_of
from bellmouth.practice.plans import draw_plan
from bellmouth.practice.population import Case
from bellmouth.recording import Recording, stretches
from measure.forecast import show, tell
from measure.histories import History, true_levels

__all__ = ["main"]

_STEP_KM = 500.0
_VISITS = 3
_LEAST_LEVELS = 0.01


def draw(count: int, variant: str, seed: int) -> tuple[list[History], list[tuple[float, float]]]:
    """Histories of practice cars read through findings, and (true, read) deposits in levels."""
    rng = np.random.default_rng(seed)
    cases = population.draw(count, variant, seed, causes=("deposit",))
    grown = [true_levels(rng, float(rng.normal(np.log(71_000.0), 0.40))) for _ in cases]
    # The first visit is the one at which the plate was cleaned, and recorded clean.
    ahead = [np.maximum(1, rng.lognormal(np.log(30.0), 0.4, _VISITS)).astype(int) for _ in cases]
    steps = [np.concatenate([[0], np.cumsum(one)]) for one in ahead]
    clean: list[Recording] = []
    visits: list[list[Visit]] = [[Visit(80_000.0, date(2020, 1, 1), cleaned=True)] for _ in cases]
    pairs: list[tuple[float, float]] = []
    per_litre = load_assumptions().level["mm2_per_litre"]
    for turn in range(_VISITS + 1):
        todo = [
            _dirty(case, per_litre * _litres(case) * float(truth[min(int(step[turn]), 1200)]), turn)
            for case, truth, step in zip(cases, grown, steps, strict=True)
        ]
        for place, made in enumerate(scenario.run(todo, occasion=20 + turn, keep_true=False)):
            if not turn:
                clean.append(made.recording)
                continue
            level = per_litre * _litres(cases[place])
            step = int(steps[place][turn])
            try:
                found = asdict(find(made.recording, made.car, references=[clean[place]]))
            except FindingError:
                continue
            read = deposit_read(found, load_assumptions().reading["unseen"] * level)
            if read is not None:
                pairs.append((float(grown[place][step]), read.value / level))
            on = date(2020, 1, 1) + timedelta(days=round(step * _STEP_KM / 36.0))
            opening = idle_opening(stretches(made.recording))
            km = 80_000.0 + step * _STEP_KM
            visits[place].append(Visit(km, on, read, opening))
    return [
        _history(f"car {place}", per_litre * _litres(case), visits[place], grown[place])
        for place, case in enumerate(cases)
    ], pairs


def _litres(case: Case) -> float:
    return float(np.ravel(case.car.displacement_l)[0])


def _dirty(case: Case, deposit_mm2: float, turn: int) -> Case:
    """The car with so much deposit, on another day."""
    rng = np.random.default_rng([case.seed, case.number, turn])
    fault = replace(case.fault, deposit_mm2=np.array([max(deposit_mm2, _LEAST_LEVELS)]))
    plan = draw_plan(rng, "held", key_on=False, cold=False)
    weather = draw_weather(rng, case.car, np.zeros(1))
    return replace(
        case, weather=weather, plan=plan, fault=fault, sizes=sizes_of("deposit", fault, 0)
    )


def _history(name: str, level: float, visits: Sequence[Visit], truth: object) -> History:
    grown = np.asarray(truth)
    km = 80_000.0 + float(np.searchsorted(grown, 1.0)) * _STEP_KM
    last = visits[-1]
    km = max(km, last.km)
    on = (last.on or date(2020, 1, 1)) + timedelta(days=round((km - last.km) / 36.0))
    return History(CarVisits(name, level, tuple(visits)), (), km, on, None)


def main() -> None:
    """Print coverage, and how the deposits that findings read compare with the truth."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=40)
    parser.add_argument("--variant", default="A")
    parser.add_argument("--seed", type=int, default=5)
    given = parser.parse_args()
    histories, pairs = draw(given.cars, given.variant, given.seed)
    for low, high in ((0.0, 0.4), (0.4, 0.8), (0.8, 1.5), (1.5, 9.0)):
        mine = np.array([read - true for true, read in pairs if low <= true < high])
        if mine.size:
            print(f"true {low} to {high} levels: n {mine.size}, read less true "
                  f"{mine.mean():+.2f} +- {mine.std():.2f}")  # fmt: skip
    told = tell([one for one in histories if len(one.car.visits) >= 3], alike=False)
    show(told, f"through findings, variant {given.variant}")
    claimed = sum(one.found.not_dirt is not None for one in told)
    print(f"not dirt claimed in {claimed} of {len(told)} histories that are all dirt")


if __name__ == "__main__":
    main()
