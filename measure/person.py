"""Are predicted pass chances right? ``python -m measure.person --people 120``.

Held-out simulated people, drawn otherwise than the prior (common practice, no source), each make
a few coached attempts in the practice car. Before each one the next is predicted from those so
far; the car's own verdict says whether it took. Then each goes on with the leads advised.
"""

import argparse
import sys
import time
from dataclasses import dataclass

import numpy as np

from bellmouth.learning.attempts import KeptAttempt, kept_attempt
from bellmouth.learning.packs import find_procedure
from bellmouth.learning.person import learn_timing
from bellmouth.learning.schedule import Leads
from bellmouth.practice.coached import Slips, coach_attempt
from bellmouth.practice.light_car import LightCar
from bellmouth.practice.person import HABITS, Habit, Person
from measure.coached import TRUTHS
from measure.pool import spread
from measure.reliability import reliability
from measure.tables import heading, number, table

__all__ = ["Told", "follow", "main"]

_SLIPS = Slips(missed=0.015, extra=0.015)
_GOES, _LED = 4, 2


@dataclass(frozen=True)
class Told:
    """One prediction: chance and interval, from how many attempts, and whether it took."""

    chance: float
    low: float
    high: float
    attempts: int
    led: bool
    took: bool


def follow(seed: int) -> list[Told]:
    """One person's attempts."""
    rng = np.random.default_rng([seed, 13])
    name = ("P4", "P1")[seed % 2]
    procedure = find_procedure(name)
    bias, spread_s = float(rng.normal(0.12, 0.16)), float(0.13 * np.exp(rng.normal(0.0, 0.55)))
    habits = {
        kind: Habit(
            bias + float(rng.normal(0.0, 0.07)), spread_s * float(np.exp(rng.normal(0, 0.2)))
        )
        for kind in HABITS
    }
    reaction_s = float(rng.uniform(0.18, 0.35))
    kept: list[KeptAttempt] = []
    told: list[Told] = []
    leads: Leads = {}
    for go in range(_GOES + _LED):
        timing = learn_timing(kept, seed=seed)
        if go == _GOES:
            leads = timing.predict(procedure).leads
        predicted = timing.predict(procedure, leads)
        person = Person(habits, 1000 * seed + go, reaction_s)
        done = coach_attempt(
            procedure, LightCar(), person, leads=leads, polls_per_s=15.0, slips=_SLIPS,
            seed=1000 * seed + go,
        )  # fmt: skip
        took = any(one.met for one in done.verdicts if one.procedure == TRUTHS[name])
        kept.append(kept_attempt(done.session))
        told.append(Told(predicted.chance, predicted.low, predicted.high, go, go >= _GOES, took))
    return told


def main(arguments: list[str] | None = None) -> int:
    """Print the reliability table."""
    parser = argparse.ArgumentParser(prog="python -m measure.person", description=__doc__)
    parser.add_argument("--people", type=int, default=120)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--processes", type=int, default=1)
    asked = parser.parse_args(arguments)
    began = time.perf_counter()
    seeds = range(asked.first, asked.first + asked.people)
    told = [one for many in spread(follow, seeds, asked.processes, "people") for one in many]
    print(
        heading(f"{asked.people} people, {len(told)} attempts, {time.perf_counter() - began:.0f} s")
    )
    chance = np.array([one.chance for one in told])
    took = np.array([one.took for one in told])
    found = reliability(chance, took, bins=5)
    rows = [
        [
            f"{one.low:.0%} to {one.high:.0%}", str(one.cases), number(one.predicted),
            number(one.observed), f"{one.band_low:.2f} to {one.band_high:.2f}",
            "inside" if one.inside else "OUTSIDE",
        ]
        for one in found.bins
    ]  # fmt: skip
    print(table(("predicted", "cases", "mean", "took", "band", ""), rows))
    print(f"calibration error {found.error:.3f}, a perfect one stays below {found.bound:.3f}")
    print(heading("By how many attempts came before"))
    print(table(("attempts", "cases", "predicted", "took", "width of interval"), _by_go(told)))
    brier = float(((chance - took) ** 2).mean())
    blind = float(took.mean() * (1 - took.mean()))
    print(f"Brier score {brier:.3f}; the same chance for everybody {blind:.3f}")
    return 0


def _by_go(told: list[Told]) -> list[list[str]]:
    rows = []
    for go in range(_GOES + _LED):
        mine = [one for one in told if one.attempts == go]
        rows.append(
            [
                f"{go}{' with leads' if mine[0].led else ''}",
                str(len(mine)),
                number(float(np.mean([one.chance for one in mine]))),
                number(float(np.mean([one.took for one in mine]))),
                number(float(np.mean([one.high - one.low for one in mine]))),
            ]
        )
    return rows


if __name__ == "__main__":
    sys.exit(main())
