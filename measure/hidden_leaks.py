"""Is a proof as sure as it may be where a new leak can hide: ``python -m measure.hidden_leaks``.

On a car that meters pressure the controller fuels what a leak lets in, and takes it back from the
plate as far as it can close. Every car is proved twice, mended with nothing new and mended with a
new leak of 1 to 3 mm; so many leaks no workshop leaves, and the shares are weighed to what one may.
"""

import argparse
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from measure.pairs import Worked, leaking_pairs
from measure.proof import Proved, prove_all

__all__ = ["main", "observed"]

Floats = NDArray[np.float64]

_BINS = (0.0, 0.5, 0.8, 0.9, 0.95, 0.98, 1.0)
_RARE = 0.05  # of work leaves a leak behind, where it is done well: common practice, no source
_SHARES = (0.0, 0.06, 0.1, 0.15, 0.2, 0.3, 0.5, np.inf)
_CHOKED_G_S_PER_MM2, _DISCHARGE = 0.2362, 0.8


def observed(said: Floats, leaks: NDArray[np.bool_], share: float) -> list[tuple[float, ...]]:
    """By what was said of *nothing new is there*: from, to, pairs, said, and how often it was so if
    ``share`` of such work left a leak behind."""
    weight = np.where(leaks, share / max(leaks.mean(), 1e-9), (1 - share) / (1 - leaks.mean()))
    rows: list[tuple[float, ...]] = []
    for low, high in pairwise(_BINS):
        mine = (said >= low) & ((said < high) | (high == _BINS[-1]))
        if mine.any():
            told, right = (np.average(x[mine], weights=weight[mine]) for x in (said, ~leaks))
            rows.append((low, high, float(mine.sum()), float(told), float(right)))
    return rows


def show(found: Sequence[Proved]) -> None:
    """Print what was said beside what was so, and what was said by the size of the leak."""
    told = [(one.truth, one.proof) for one in found if one.proof is not None]
    leaks = np.array(["leak" in truth.sizes[1] for truth, _ in told])
    said = np.array([proof.nothing_new for _, proof in told])
    expected = np.array([proof.new_leak.expected for _, proof in told])
    print(f"{len(told)} pairs, {leaks.sum()} with a new leak; mended, in the mean: "
          f"{np.mean([proof.mended for _, proof in told]):.3f}")  # fmt: skip
    usual = float(expected.mean())
    for share in (usual, _RARE):
        print(f"if {share:.2f} of such work left a leak" + (" (the weights)" * (share == usual)))
        for low, high, pairs, mean, right in observed(said, leaks, share):
            print(f"  nothing new {low:.2f} to {high:.2f}  pairs {pairs:4.0f}  "
                  f"said {mean:.3f}  so {right:.3f}")  # fmt: skip
    sizes = np.array([_share(truth) for truth, _ in told])
    for low, high in pairwise(_SHARES):
        mine = np.flatnonzero((sizes > low) & (sizes <= high))
        if len(mine):
            verdicts = [told[i][1].verdict for i in mine]
            counts = {one: verdicts.count(one) for one in sorted(set(verdicts))}
            print(f"leak of {low:.2f} to {high:.2f} of idle air: {len(mine)}, nothing new "
                  f"{said[mine].mean():.2f}, {counts}")  # fmt: skip


def _share(truth: Worked) -> float:
    """A new leak's air over what the car idles on."""
    diameter = truth.sizes[1].get("leak", 0.0)
    return float(_DISCHARGE * np.pi / 4 * diameter**2 * _CHOKED_G_S_PER_MM2 / truth.idle_g_s)


def main(arguments: list[str] | None = None) -> int:
    """Draw, prove, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=60, help="of each variant")
    parser.add_argument("--variant", default="ABC", help="one or more letters")
    parser.add_argument("--seed", type=int, nargs="+", default=[311])
    told = parser.parse_args(arguments)
    np.seterr(all="ignore")
    show(
        [
            one
            for seed in told.seed
            for letter in told.variant
            for one in prove_all(leaking_pairs(told.cars, letter, seed))
        ]
    )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
