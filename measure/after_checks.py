"""How right and how honest findings are after checks: ``python -m measure.after_checks``.

For development on variants A to C: the table that ``python -m measure.accuracy`` prints with the
rest, on its own.
"""

import sys
from collections.abc import Sequence

import numpy as np

from measure import honesty, scores
from measure.cases import samples, with_later
from measure.followups import Followed, follow
from measure.over_variants import asked
from measure.pool import spread
from measure.scores import Floats, Ints
from measure.simulated import CAUSES, Plan
from measure.tables import table

__all__ = ["after_checks", "main", "right_after"]

_HEADS = ("checks", *honesty.HEADS, "which, and how often again")
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
    return [str(step), *honesty.cells(*_gathered(followed, step)), _which(followed, step)]


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


def _gathered(followed: Sequence[Followed], step: int) -> tuple[Floats, Ints]:
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
    chosen = asked("after_checks", __doc__, arguments)
    everything: list[Followed] = []
    for variant in chosen.variants:
        plan = Plan(variant, chosen.seed, CAUSES)
        drawn = samples(plan, chosen.cases, chosen.processes, keep=True)
        drawn = with_later(drawn, plan, chosen.processes, keep=True)
        followed = [one for one in spread(follow, drawn, chosen.processes, variant) if one]
        everything += followed
        print(f"\nvariant {variant}, {len(followed)} cases\n{after_checks(followed)}")
    print(f"\nall {len(everything)}\n{after_checks(everything)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
