"""How right and how honest findings are after checks: ``python -m measure.after_checks``.

For development on variants A to C: the table that ``python -m measure.accuracy`` prints with the
rest, on its own.
"""

import argparse
import sys
from collections.abc import Sequence

import numpy as np

from measure import scores
from measure.cases import samples, with_later
from measure.followups import Followed, follow
from measure.pool import spread
from measure.reliability import reliability
from measure.simulated import CAUSES, Plan
from measure.tables import number, table

__all__ = ["after_checks", "main", "right_after"]

_HEADS = ("checks", "right", "p(truth)", "Brier", "calibration (bound)", "90 % set", "causes in it",
          "which, and how often again")  # fmt: skip
_SHOWN = 4


def right_after(followed: Sequence[Followed], step: int) -> float:
    """Share right after so many checks."""
    return scores.accuracy(*_gathered(followed, step))


def after_checks(followed: Sequence[Followed]) -> str:
    """The table, before any check and after each. Weights are the stated ones, complaint unknown,
    which leave room for causes that are not drawn here."""
    steps = range(followed[0].probability.shape[0])
    return table(_HEADS, [_row(followed, step) for step in steps])


def _row(followed: Sequence[Followed], step: int) -> list[str]:
    probability, truth = _gathered(followed, step)
    right = scores.top(probability) == truth
    honest = reliability(probability.max(axis=1), right)
    holds, size = scores.smallest_sets(probability, truth)
    return [
        str(step),
        number(scores.accuracy(probability, truth), 3),
        number(scores.mean_probability_on_truth(probability, truth), 3),
        number(scores.brier(probability, truth), 3),
        f"{number(honest.error, 3)} ({number(honest.bound, 3)})",
        number(float(np.mean(holds)), 3),
        number(float(np.mean(size)), 2),
        _which(followed, step),
    ]


def _which(followed: Sequence[Followed], step: int) -> str:
    """The commonest checks of a step, with how many of them had been made before."""
    if step == 0:
        return ""
    made = [one.made[:step] for one in followed if len(one.made) >= step]
    names = [before[-1] for before in made]
    again = [before[-1] for before in made if before[-1] in before[:-1]]
    common = sorted(set(names), key=lambda name: -names.count(name))[:_SHOWN]
    told = [
        f"{name} {names.count(name)}" + (f" ({again.count(name)})" if name in again else "")
        for name in common
    ]
    return f"{', '.join(told)}; again {len(again)} of {len(made)}"


def _gathered(
    followed: Sequence[Followed], step: int
) -> tuple[np.ndarray[tuple[int, ...], np.dtype[np.float64]],
           np.ndarray[tuple[int, ...], np.dtype[np.intp]]]:  # fmt: skip
    causes = list(
        dict.fromkeys(name for one in followed for name in (*one.names, one.sample.cause))
    )
    place = {name: column for column, name in enumerate(causes)}
    probability = np.zeros((len(followed), len(causes)))
    for row, one in enumerate(followed):
        probability[row, [place[name] for name in one.names]] = one.probability[step]
    return probability, np.array([place[one.sample.cause] for one in followed], dtype=np.intp)


def main(arguments: list[str] | None = None) -> int:
    """Print the table for some variants, each and together."""
    parser = argparse.ArgumentParser(prog="python -m measure.after_checks", description=__doc__)
    parser.add_argument("--variants", default="ABC", help="letters of A to C")
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--seed", type=int, default=31)
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args(arguments)
    if not asked.variants or set(asked.variants) - set("ABC"):
        parser.error("--variants: letters of A, B and C; the others are kept for the end")
    everything: list[Followed] = []
    for variant in asked.variants:
        plan = Plan(variant, asked.seed, CAUSES)
        drawn = samples(plan, asked.cases, asked.processes, keep=True)
        drawn = with_later(drawn, plan, asked.processes, keep=True)
        followed = [one for one in spread(follow, drawn, asked.processes, variant) if one]
        everything += followed
        print(f"\nvariant {variant}, {len(followed)} cases\n{after_checks(followed)}")
    print(f"\nall {len(everything)}\n{after_checks(everything)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
