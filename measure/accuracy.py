"""How often the finding is right on simulated cars, how honest its probabilities are.

``python -m measure.accuracy --quick --variant A --cases 200`` is for development: one compact
page. Without ``--quick`` every figure that ``docs/accuracy.md`` quotes is printed, and the real
recordings stand after them.
"""

import argparse
import sys
import time

from measure import full, quick
from measure.cases import samples
from measure.judge import judge
from measure.pool import spread
from measure.simulated import CAUSES, Plan

__all__ = ["CAUSES", "main"]

_FINAL = ("D", "E")


def main(arguments: list[str] | None = None) -> int:
    """Run the measurement; see the module's docstring."""
    asked = _parse(arguments)
    if asked.variant in _FINAL and not asked.final:
        print(
            f"variant {asked.variant} is kept for the end and not for development: "
            "give --final if this is the end.",
            file=sys.stderr,
        )
        return 2
    plan = Plan(
        variant=asked.variant,
        seed=asked.seed,
        causes=tuple(asked.causes.split(",")) if asked.causes else CAUSES,
        plans=tuple(asked.plans.split(",")) if asked.plans else None,
        reference=asked.reference,
    )
    if not asked.quick:
        full.show(full.measure(plan, asked.cases, asked.processes, keep=asked.keep))
        return 0
    start = time.perf_counter()
    drawn = samples(plan, asked.cases, asked.processes, keep=asked.keep)
    ready = time.perf_counter()
    judgements = spread(judge, drawn, asked.processes, "judging")
    quick.show(plan, judgements, ready - start, time.perf_counter() - ready)
    return 0


def _parse(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m measure.accuracy", description=__doc__)
    parser.add_argument("--cases", type=int, default=400)
    parser.add_argument("--variant", choices=["A", "B", "C", "D", "E"], default="A")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--quick", action="store_true", help="one compact page")
    parser.add_argument("--final", action="store_true", help="allow the variant kept for the end")
    parser.add_argument("--causes", help="causes in equal shares, with commas between")
    parser.add_argument("--plans", help="kinds of recording: idle,held,drive")
    parser.add_argument("--reference", action="store_true", help="with a recording when good")
    parser.add_argument(
        "--keep", action="store_true", help="keep recordings that an older practice car made"
    )
    return parser.parse_args(arguments)


if __name__ == "__main__":
    sys.exit(main())
