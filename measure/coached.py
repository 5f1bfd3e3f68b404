"""Coach, person, practice car and judge together: ``python -m measure.coached --attempts 300``.

A simulated person with jitter follows the coach in a practice car. The car's own verdict is the
truth; coach and judge see polled signals, or the person's marks, alone.
"""

import argparse
import math
import sys
import time
from collections import Counter
from dataclasses import dataclass

import numpy as np

from bellmouth.learning.judge import judge
from bellmouth.learning.packs import find_procedure
from bellmouth.practice.coached import Slips, coach_attempt
from bellmouth.practice.light_car import LightCar
from bellmouth.practice.person import HABITS, Habit, Person
from bellmouth.practice.wires import WireChoice
from measure.pool import spread
from measure.tables import heading, table, target

__all__ = ["TRUTHS", "Outcome", "attempt", "main"]

#: Procedures that the practice car's controller knows, by its name for them.
TRUTHS = {
    "P1": "memory_reset",
    "P2": "pedal_released",
    "P3": "closed_position",
    "P4": "idle_air",
    "P6": "key_on_adaptation",
}
_COMMON = ("P4", "P1", "P4", "P1", "P2", "P4", "P1", "P3", "P4", "P6")
_SLIPS = Slips(missed=0.05, extra=0.05, first_blink=0.04, load=0.04)


@dataclass(frozen=True)
class Outcome:
    """One attempt: what it was, and what car, coach and judge say of it."""

    procedure: str
    live: bool
    polls_per_s: float
    learned: bool
    coach: str
    judgement: str


def attempt(seed: int) -> Outcome:
    """One coached attempt; jitter 0 to 0.6 s, 3 to 25 samples a second."""
    rng = np.random.default_rng([seed, 5])
    name = _COMMON[seed % len(_COMMON)]
    jitter = float(rng.uniform(0.0, 0.6)) * float(rng.random() < 0.5) + float(rng.uniform(0, 0.15))
    bias = float(rng.normal(0.1, 0.12))
    habits = {kind: Habit(bias + float(rng.normal(0, 0.05)), jitter) for kind in HABITS}
    procedure, car, live = find_procedure(name), LightCar(), bool(rng.random() < 0.7)
    polls_per_s = float(np.exp(rng.uniform(np.log(3.0), np.log(25.0))))
    done = coach_attempt(
        procedure, car, Person(habits, seed), live=live, polls_per_s=polls_per_s, slips=_SLIPS,
        seed=seed,
    )  # fmt: skip
    learned = any(one.met for one in done.verdicts if one.procedure == TRUTHS[name])
    # The judge is told what a person saw or heard, never what the coach thinks.
    judged = "cannot tell"
    if done.recording is not None:
        judged = judge(done.recording, procedure, dict(done.marks)).judgement
    return Outcome(name, live, polls_per_s, learned, done.session.phase, judged)


def main(arguments: list[str] | None = None) -> int:
    """Print the agreement, and exit with 1 where a promise is broken."""
    parser = argparse.ArgumentParser(prog="python -m measure.coached", description=__doc__)
    parser.add_argument("--attempts", type=int, default=300)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--wire", type=int, default=0, help="attempts over SLCAN, in real time")
    parser.add_argument("--kline", type=int, default=0, help="attempts over a K line, likewise")
    asked = parser.parse_args(arguments)
    began = time.perf_counter()
    seeds = range(asked.first, asked.first + asked.attempts)
    found = spread(attempt, seeds, asked.processes, "coaching")
    print(heading(f"{len(found)} coached attempts, {time.perf_counter() - began:.0f} s"))
    print(table(("procedure", "coach sees", "car", "coach", "judge", "attempts"), _rows(found)))
    found += _over_wire(asked.wire, asked.first)
    found += _over_wire(asked.kline, asked.first, WireChoice(kline=True))
    print(heading("Targets"))
    refused = [one for one in found if not one.learned]
    took = [one for one in found if one.learned]
    wrong = sum(one.judgement == "met" for one in refused)
    missed = sum(one.judgement == "missed" for one in took)
    lost = sum(one.coach == "lost" for one in took)
    print(target("judged met, refused by the car", wrong, 0, at_least=False))
    share = missed / max(len(took), 1)
    print(target("judged missed, taken by the car (share)", share, 0.005, at_least=False))
    print(target("called lost by the coach, taken by the car", lost, 0, at_least=False))
    unseen = sum(one.coach == "done" and one.live for one in refused)
    print(f"          coached to the end although refused, with signals: {unseen}")
    return 1 if wrong else 0


def _over_wire(count: int, first: int, choice: WireChoice | None = None) -> list[Outcome]:
    """Attempts in the live practice car, whole engine and all, over serial-line CAN or a K line."""
    if not count:
        return []
    from bellmouth.practice.coached_wire import coach_over_wire  # noqa: PLC0415

    found = []
    for seed in range(first, first + count):
        name = ("P2", "P1", "P4")[seed % 3]
        procedure = find_procedure(name)
        done = coach_over_wire(procedure, Person(seed=seed), speed=1.0, seed=seed, choice=choice)
        learned = any(one.met for one in done.verdicts if one.procedure == TRUTHS[name])
        judged = judge(done.recording, procedure, dict(done.marks)).judgement
        found.append(Outcome(name, True, math.nan, learned, done.session.phase, judged))
    line = "a K line" if choice else "SLCAN"
    print(heading(f"{count} over {line}, in real time"))
    print(table(("procedure", "coach sees", "car", "coach", "judge", "attempts"), _rows(found)))
    return found


def _rows(found: list[Outcome]) -> list[list[str]]:
    counts = Counter(
        (
            one.procedure,
            "signals" if one.live else "marks",
            "took" if one.learned else "refused",
            one.coach,
            one.judgement,
        )
        for one in found
    )
    return [[*key, str(count)] for key, count in sorted(counts.items())]


if __name__ == "__main__":
    sys.exit(main())
