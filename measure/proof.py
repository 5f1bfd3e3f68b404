"""How often the proof is right: ``python -m measure.proof``.

Nothing of the proof was set on the variants D and E, which it measures by default.
"""

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bellmouth.errors import FindingError
from bellmouth.finding.case import solve
from bellmouth.finding.causes import CAUSES
from bellmouth.finding.priors import cause_weights
from bellmouth.finding.proof_result import Proof
from bellmouth.finding.prove import course_weights, solve_pair
from bellmouth.finding.sizes import sizes_of
from bellmouth.finding.verdict import COMMITS, verdict_of
from measure import real_pairs
from measure.pairs import WAYS, Worked, pairs

__all__ = ["Proved", "main", "prove_all"]


@dataclass(frozen=True)
class Proved:
    """One pair and what the proof said of it; None where it was refused."""

    truth: Worked
    proof: Proof | None


def prove_all(worked: Sequence[Worked]) -> list[Proved]:
    """Prove every pair with the complaint unknown."""
    return [Proved(one, _prove(one)) for one in worked]


def _prove(one: Worked) -> Proof | None:
    try:
        pair = solve_pair(one.before, one.after, (), one.car)
    except FindingError:
        return None
    weights = course_weights(pair, cause_weights("unknown"))
    return verdict_of(pair, weights, one.after_recording)


def show(found: Sequence[Proved]) -> None:
    """Print the figures beside their targets."""
    told = [one for one in found if one.proof is not None]
    print(f"{len(found)} pairs, {len(found) - len(told)} refused; commits from {COMMITS}")
    for way in (*WAYS, "all"):
        mine = [one for one in told if way in (one.truth.way, "all")]
        if not mine:
            continue
        given = [one for one in mine if _verdict(one) != "cannot say yet"]
        right = [one for one in given if _verdict(one) == one.truth.verdict]
        likeliest = [one for one in mine if _likeliest(one) == one.truth.verdict]
        said = Counter(_verdict(one) for one in mine)
        print(
            f"{way:22} n {len(mine):4}  commits {len(given) / len(mine):.3f}  "
            f"right {len(right) / max(len(given), 1):.3f}  "
            f"likeliest {len(likeliest) / len(mine):.3f}  {dict(said)}"
        )
    nothing = [one for one in told if one.truth.verdict == "same"]
    praised = sum(_verdict(one) == "better" for one in nothing)
    print(
        "nothing or the wrong thing done called better: "
        f"{praised / max(len(nothing), 1):.3f} (at most 0.01)"
    )
    _leaks(told)
    _coverage(told)
    _narrowing(told)


def _leaks(told: Sequence[Proved]) -> None:
    big = [
        one for one in told
        if one.truth.way == "cleaned, new leak" and one.truth.sizes[1]["leak"] >= 1.5
        and one.truth.reports != "pressure"
    ]  # fmt: skip
    seen = sum(one.proof.new_leak.probability > 0.5 for one in big if one.proof)
    print(f"new leak of 1.5 mm or more, airflow metered: {seen}/{len(big)} found (0.95)")


def _coverage(told: Sequence[Proved]) -> None:
    inside, total = Counter[str](), Counter[str]()
    for one in told:
        assert one.proof is not None  # noqa: S101
        for change in one.proof.changes:
            nothing = 1.0 if CAUSES[change.cause].unit == "ratio" else 0.0
            true = [sizes.get(change.cause, nothing) for sizes in one.truth.sizes]
            if true[0] == true[1] == nothing:
                continue
            total[change.cause] += 1
            inside[change.cause] += change.change.low <= true[1] - true[0] <= change.change.high
    for cause, count in total.items():
        print(f"  change of {cause}: 90 % interval holds it {inside[cause]}/{count}")
    if total:
        print(f"  all: {sum(inside.values()) / sum(total.values()):.3f} (0.85 to 0.95)")


def _narrowing(told: Sequence[Proved]) -> None:
    """How much narrower the change is told jointly than by two findings subtracted."""
    ratios = []
    for one in told:
        cause = one.truth.causes[0]
        if one.truth.verdict != "same" or cause not in CAUSES or one.proof is None:
            continue
        change = next((c.change for c in one.proof.changes if c.cause == cause), None)
        if change is None:
            continue
        apart = [
            sizes_of(solve(part, (), one.truth.car))[cause][cause]
            for part in (one.truth.before, one.truth.after)
        ]
        first, second = (size.high - size.low for size in apart)
        width = float(np.hypot(first, second))
        ratios.append((change.high - change.low) / width)
    if ratios:
        print(
            f"interval of the change over two findings subtracted, {len(ratios)} unrepaired cars: "
            f"median {np.median(ratios):.2f}, three quarters within {np.quantile(ratios, 0.75):.2f}"
        )


def _verdict(one: Proved) -> str:
    return one.proof.verdict if one.proof else "cannot say yet"


def _likeliest(one: Proved) -> str:
    outcomes = one.proof.outcomes if one.proof else {"same": 1.0}
    return max(outcomes, key=lambda name: outcomes[name])


def main(arguments: list[str] | None = None) -> int:
    """Draw, prove, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--variant", default="DE", help="one or more letters; D and E are unseen")
    parser.add_argument("--seed", type=int, default=31)
    told = parser.parse_args(arguments)
    np.seterr(all="ignore")
    each = -(-told.cases // len(told.variant))
    show([one for letter in told.variant for one in prove_all(pairs(each, letter, told.seed))])
    real_pairs.show()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
