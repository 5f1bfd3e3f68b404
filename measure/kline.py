"""What a K line lets the judge tell, beside CAN: ``python -m measure.kline --attempts 40``.

A simulated person with a practised one's jitter follows the coach in a practice car whose own
verdict is the truth. On the K line link, client and observer are those of a real attempt, on a
virtual clock (``practice.coached_kline``); on CAN every parameter is polled twelve times a second.
``--real N`` adds attempts over a pseudo-terminal in real time, with the whole engine.
"""

import argparse
import math
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from bellmouth.learning.judge import judge
from bellmouth.learning.judgement import CANNOT_TELL, MET, MISSED, Judgement, StepJudgement
from bellmouth.learning.packs import find_procedure
from bellmouth.learning.session import leads_of
from bellmouth.practice.coached import Coached, Slips, coach_attempt
from bellmouth.practice.coached_kline import coach_over_kline
from bellmouth.practice.light_car import LightCar
from bellmouth.practice.person import HABITS, Habit, Person
from bellmouth.practice.wires import WireChoice
from measure.coached import TRUTHS
from measure.pool import spread
from measure.tables import heading, table, target

__all__ = ["Told", "attempt", "main", "reasons"]

#: Procedures of the packs that the practice car's controller knows.
_KNOWN = TRUTHS | {"P5": "idle_relearn"}
_SLIPS = Slips(missed=0.05, extra=0.05, first_blink=0.04)
_CAN_PER_S = 12.0


@dataclass(frozen=True)
class Told:
    """One attempt: over which line, whether the car took it, what the judge said, and why."""

    procedure: str
    line: str
    took: bool
    judgement: str
    coach: str
    reasons: tuple[str, ...]


def attempt(
    place: int, *, names: tuple[str, ...], first: int, late_s: float, lead_s: float
) -> Told:
    """One attempt; procedures in turn, each once over either line."""
    name = names[(place // 2) % len(names)]
    line = ("CAN", "K line")[place % 2]
    seed = first + place // (2 * len(names))
    procedure, person = find_procedure(name), _person(seed)
    if line == "CAN":
        done = coach_attempt(
            procedure, LightCar(), person,
            leads=leads_of(lead_s), polls_per_s=_CAN_PER_S, slips=_SLIPS, seed=seed,
        )  # fmt: skip
    else:
        done = coach_over_kline(
            procedure, person, leads=leads_of(lead_s), late_s=late_s, slips=_SLIPS, seed=seed
        )
    return _told(name, line, done)


def _person(seed: int) -> Person:
    """One in four is clumsy: what must be refused is tried as well."""
    wide = 4.0 if seed % 4 == 3 else 1.0
    habits = {kind: Habit(one.bias_s, wide * one.spread_s) for kind, one in HABITS.items()}
    return Person(habits, seed)


def _told(name: str, line: str, done: Coached) -> Told:
    judged = judge(done.recording, find_procedure(name), dict(done.marks))
    took = any(one.met for one in done.verdicts if one.procedure == _KNOWN[name])
    why = reasons(judged) if judged.judgement == CANNOT_TELL else ()
    return Told(name, line, took, judged.judgement, done.session.phase, why)


def reasons(judged: Judgement) -> tuple[str, ...]:
    """Why it cannot be told: each line that is open, and what is open about it."""
    steps = [line for line in judged.steps if not line.optional and line.judgement == CANNOT_TELL]
    stood = [line for line in judged.conditions if line.seen and line.judgement == CANNOT_TELL]
    found = [f"{line.step}: {_open(line)}" for line in steps]
    return tuple(found + [f"{line.condition}: not read often enough" for line in stood])


def _open(line: StepJudgement) -> str:
    if "sampled" in line.why or "cannot say" in line.why:
        return "a press could hide"
    if line.measured is None or not math.isfinite(line.measured.high - line.measured.low):
        return line.why or "not seen"
    least, most = line.window
    width = line.measured.high - line.measured.low
    window = "" if math.isinf(most) else f" in a window of {most - least:.1f} s"
    return f"known to {width:.1f} s{window}"


def _real(count: int, first: int, names: Sequence[str], lead_s: float) -> list[Told]:
    """Attempts in the live practice car on a pseudo-terminal, in real time."""
    from bellmouth.practice.coached_wire import coach_over_wire  # noqa: PLC0415

    found = []
    for place in range(count):
        name, seed = names[place % len(names)], first + place
        done = coach_over_wire(
            find_procedure(name), Person(seed=seed),
            speed=1.0, seed=seed, choice=WireChoice(kline=True), leads=leads_of(lead_s),
        )  # fmt: skip
        found.append(_told(name, "K line, real time", done))
    return found


def _rows(found: Sequence[Told]) -> list[list[str]]:
    rows = []
    for name in _KNOWN:
        for line in ("CAN", "K line", "K line, real time"):
            these = [one for one in found if (one.procedure, one.line) == (name, line)]
            if these:
                rows.append([name, line, *_counts(these)])
    return rows


def _counts(these: Sequence[Told]) -> list[str]:
    same = sum(one.judgement == (MET if one.took else MISSED) for one in these)
    open_ = [one for one in these if one.judgement == CANNOT_TELL]
    why = Counter(reason for one in open_ for reason in one.reasons).most_common(2)
    told = "; ".join(f"{reason} ({count})" for reason, count in why)
    took = sum(one.took for one in these)
    return [str(len(these)), str(took), str(same), str(len(open_)), f" {told}"]


def main(arguments: list[str] | None = None) -> int:
    """Print the table, and exit with 1 where a verdict is false."""
    parser = argparse.ArgumentParser(prog="python -m measure.kline", description=__doc__)
    parser.add_argument("--attempts", type=int, default=20, help="of each procedure, either line")
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--late", type=float, default=1.0, help="lateness a question, ms, mean")
    parser.add_argument("--lead", type=float, default=0.0, help="every call so much earlier, s")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--real", type=int, default=0, help="attempts in real time")
    parser.add_argument("--only", default="P1,P2,P3,P4,P6", help="procedures; P5 takes long")
    asked = parser.parse_args(arguments)
    names = tuple(asked.only.split(","))
    work = partial(
        attempt, names=names, first=asked.first, late_s=asked.late / 1000.0, lead_s=asked.lead
    )
    places = range(2 * len(names) * asked.attempts)
    found = spread(work, places, asked.processes, "coaching")
    found += _real(asked.real, asked.first, names, asked.lead)
    print(heading("What can be told over either line; the car's own verdict is the truth"))
    heads = ("procedure", "line", "attempts", "taken", "told as the car", "cannot tell", " why")
    print(table(heads, _rows(found)))
    false_met = sum(one.judgement == MET and not one.took for one in found)
    false_missed = sum(one.judgement == MISSED and one.took for one in found)
    lost = sum(one.coach == "lost" and one.took for one in found)
    print(heading("Targets"))
    print(target("judged met, refused by the car", false_met, 0, at_least=False))
    print(target("judged missed, taken by the car", false_missed, 0, at_least=False))
    print(target("called lost by the coach, taken by the car", lost, 0, at_least=False))
    return 1 if false_met or false_missed or lost else 0


if __name__ == "__main__":
    sys.exit(main())
