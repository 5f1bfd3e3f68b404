"""Are predicted pass chances right? ``python -m measure.person --people 40``.

Held-out simulated people, drawn otherwise than the prior (common practice, no source), each make
a few coached attempts in the practice car. Before each one the next is predicted from those so
far; the car's own verdict says whether it took. Then each goes on with the leads advised.

The prior was chosen with people below number 1,000 in view; here they begin at 1,000. People of
three laws: steady ones; ones with long tails, whose errors hang together besides; and ones who
learn, at first later and less steady than they are in the end.

A long run may be made in parts: with ``--keep FILE`` each part adds its predictions to the file,
and the figures are of all that it holds.
"""

import argparse
import json
import sys
import time
from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bellmouth.learning.attempts import KeptAttempt, kept_attempt
from bellmouth.learning.packs import find_procedure
from bellmouth.learning.person import learn_timing
from bellmouth.learning.schedule import Leads
from bellmouth.practice.coached import Slips, coach_attempt
from bellmouth.practice.light_car import LightCar
from bellmouth.practice.person import HABITS, Habit, Kind, Person
from measure.coached import TRUTHS
from measure.pool import spread
from measure.reliability import Reliability, reliability
from measure.tables import heading, number, table, target

__all__ = ["LAWS", "Told", "follow", "main"]

_SLIPS = Slips(missed=0.015, extra=0.015)
_GOES, _LED = 4, 2
LAWS = ("steady", "long tails", "learning")
#: Of errors with long tails: degrees of freedom, and correlation with the error before.
_TAILS, _CARRIES = 3.0, 0.5


@dataclass(frozen=True)
class Told:
    """One prediction: chance and interval, from how many attempts, and whether it took.

    ``person`` is a number, ``procedure`` what was tried, ``refused`` where the car says it went
    wrong.
    """

    person: int
    law: str
    procedure: str
    chance: float
    low: float
    high: float
    attempts: int
    led: bool
    took: bool
    refused: str


def follow(asked: tuple[str, int]) -> list[Told]:
    """One person's attempts: a law and a number."""
    law, seed = asked
    rng = np.random.default_rng([seed, 13])
    name = ("P4", "P1")[seed % 2]
    procedure = find_procedure(name)
    habits = _habits(rng)
    reaction_s = float(rng.uniform(0.18, 0.35))
    kept: list[KeptAttempt] = []
    told: list[Told] = []
    leads: Leads = {}
    for go in range(_GOES + _LED):
        timing = learn_timing(kept, seed=seed)
        if go == _GOES:
            leads = timing.predict(procedure).leads
        predicted = timing.predict(procedure, leads)
        person = _person(law, habits, 1000 * seed + go, reaction_s, go)
        done = coach_attempt(
            procedure, LightCar(), person, leads=leads, polls_per_s=15.0, slips=_SLIPS,
            seed=1000 * seed + go,
        )  # fmt: skip
        mine = [one for one in done.verdicts if one.procedure == TRUTHS[name]]
        took = any(one.met for one in mine)
        refused = "" if took else next((one.step for one in mine), "never begun") or "unsaid"
        kept.append(kept_attempt(done.session))
        told.append(
            Told(
                seed, law, name, predicted.chance, predicted.low, predicted.high, go, go >= _GOES,
                took, refused,
            )
        )  # fmt: skip
    return told


def _habits(rng: np.random.Generator) -> dict[Kind, Habit]:
    bias, spread_s = float(rng.normal(0.12, 0.16)), float(0.13 * np.exp(rng.normal(0.0, 0.55)))
    return {
        kind: Habit(
            bias + float(rng.normal(0.0, 0.07)), spread_s * float(np.exp(rng.normal(0, 0.2)))
        )
        for kind in HABITS
    }


def _person(
    law: str, habits: Mapping[Kind, Habit], seed: int, reaction_s: float, go: int
) -> Person:
    if law == "learning":
        share = 0.65 + 0.5 * 0.6**go
        better = {
            kind: Habit(share * one.bias_s, share * one.spread_s) for kind, one in habits.items()
        }
        return Person(better, seed, reaction_s)
    if law == "long tails":
        return Person(habits, seed, reaction_s, tails=_TAILS, carries=_CARRIES)
    return Person(habits, seed, reaction_s)


def main(arguments: list[str] | None = None) -> int:
    """Print the reliability tables; exit with 1 where the error is above its bound."""
    parser = argparse.ArgumentParser(prog="python -m measure.person", description=__doc__)
    parser.add_argument("--people", type=int, default=40, help="of each law")
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="file that the parts of a long run add to")
    asked = parser.parse_args(arguments)
    began = time.perf_counter()
    seeds = range(asked.first, asked.first + 3 * asked.people)
    before = _kept(asked.keep)
    if known := {one.person for one in before} & set(seeds):
        # The same person twice would make the bound too narrow.
        parser.error(f"{asked.keep} holds person {min(known)} already; choose another --first.")
    # Nobody is the same person under two laws: their outcomes would hang together.
    people = [(LAWS[place % 3], seed) for place, seed in enumerate(seeds)]
    made = [one for many in spread(follow, people, asked.processes, "people") for one in many]
    took_s = time.perf_counter() - began
    _keep(asked.keep, made)
    told = before + made
    count = len({one.person for one in told})
    print(heading(f"{count} people, {len(told)} attempts; {len(people)} people in {took_s:.0f} s"))
    found = _reliability(told)
    print(table(("predicted", "cases", "mean", "took", "band", ""), _by_bin(found)))
    print(heading("By how many attempts came before"))
    print(table(("attempts", "cases", "predicted", "took", "width of interval"), _by_go(told)))
    print(heading("By law and procedure"))
    print(table(("who", "cases", "predicted", "took", "error", "perfect"), _by_group(told)))
    print(heading("Where the car says it went wrong"))
    reasons = Counter(one.refused for one in told if one.refused)
    print(table(("step", "attempts"), [[why, str(n)] for why, n in reasons.most_common(8)]))
    chance, took = _figures(told)
    brier = float(((chance - took) ** 2).mean())
    blind = float(took.mean() * (1 - took.mean()))
    print(f"Brier score {brier:.3f}; the same chance for everybody {blind:.3f}")
    print(heading("Targets"))
    what = "calibration error; a perfectly calibrated tool stays below"
    print(target(what, round(found.error, 3), round(found.bound, 3), at_least=False))
    return 0 if found.error <= found.bound else 1


def _kept(path: Path | None) -> list[Told]:
    """The predictions of the parts before this one."""
    if path is None or not path.is_file():
        return []
    return [Told(**json.loads(line)) for line in path.read_text("utf-8").splitlines()]


def _keep(path: Path | None, made: list[Told]) -> None:
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a", encoding="utf-8") as lines:
            lines.writelines(json.dumps(asdict(one)) + "\n" for one in made)


def _figures(told: list[Told]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    return np.array([one.chance for one in told]), np.array([one.took for one in told])


def _reliability(told: list[Told]) -> Reliability:
    return reliability(*_figures(told), bins=5)


def _by_bin(found: Reliability) -> list[list[str]]:
    return [
        [
            f"{one.low:.0%} to {one.high:.0%}", str(one.cases), number(one.predicted),
            number(one.observed), f"{one.band_low:.2f} to {one.band_high:.2f}",
            "inside" if one.inside else "OUTSIDE",
        ]
        for one in found.bins
    ]  # fmt: skip


def _by_group(told: list[Told]) -> list[list[str]]:
    groups = {law: [one for one in told if one.law == law] for law in LAWS}
    for name in dict.fromkeys(one.procedure for one in told):
        groups[name] = [one for one in told if one.procedure == name]
    rows = []
    for name, mine in groups.items():
        (chance, took), found = _figures(mine), _reliability(mine)
        figures = (float(chance.mean()), float(took.mean()), found.error, found.bound)
        rows.append([name, str(len(mine)), *(f"{one:.3f}" for one in figures)])
    return rows


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
