"""Print how often the finding is right on engines that nobody here tuned on."""

import argparse
import sys
import time

from measure import OUT
from measure.pool import spread
from measure.second_engine import __doc__ as about
from measure.second_engine.cases import draw_cases, read_cases
from measure.second_engine.score import answer, show

__all__ = ["main"]


def main(arguments: list[str] | None = None) -> int:
    """Draw, run, write, judge and print; see the package's docstring."""
    asked = _parse(arguments)
    kind = "with_reference" if asked.reference else "alone"
    folder = OUT / "second_engine" / f"seed_{asked.seed}_{asked.cases}_{kind}"
    start = time.perf_counter()
    if not (asked.keep and (folder / "cases.json").exists()):
        draw_cases(folder, asked.cases, asked.seed, reference=asked.reference)
    cases = read_cases(folder)
    drawn = time.perf_counter()
    answers = spread(answer, cases, asked.processes, "judging")
    also = ", with reference" if asked.reference else ""
    title = (
        f"second engine, seed {asked.seed}{also}; drawn in {drawn - start:.0f} s, judged in "
        f"{time.perf_counter() - drawn:.0f} s"
    )
    show(answers, title, quick=asked.quick)
    return 0


def _parse(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m measure.second_engine", description=about)
    parser.add_argument("--cases", type=int, default=400)
    parser.add_argument("--seed", type=int, default=2)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--reference", action="store_true", help="with a recording when good")
    parser.add_argument("--quick", action="store_true", help="without the list of wrong ones")
    parser.add_argument("--keep", action="store_true", help="judge what is drawn already")
    return parser.parse_args(arguments)


if __name__ == "__main__":
    sys.exit(main())
