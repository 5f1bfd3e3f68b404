"""The judge of learning procedures against the truth: ``python -m measure.learning``.

2,000 simulated attempts (jitter 0 to 0.6 s, 3 to 25 samples of the pedal a second, presses missed
and too many, slips into the neighbouring procedure, blips of the supply), and 1,000 at 10 samples
a second. Then how long a recording of ten minutes takes.
"""

import argparse
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bellmouth.learning import find_procedure, judge
from bellmouth.learning.formal import formulae
from bellmouth.learning.judgement import CANNOT_TELL, MET, MISSED, Judgement
from bellmouth.recording.series import Recording, Series
from measure.attempts import Simulated, simulate
from measure.monitor import evaluated
from measure.results import keep

__all__ = ["Tally", "judging_seconds", "main", "monitor_seconds", "tally"]


@dataclass(frozen=True)
class Tally:
    """What came of many attempts; shares are of all attempts.

    ``unexplained`` counts those that cannot be told although no line says why: no interval that
    spans an edge and no sampling gap.
    """

    attempts: int
    truly_met: int
    false_met: int
    false_missed: int
    cannot_tell: int
    steps: int
    steps_open: int
    unexplained: int
    wrong: tuple[str, ...]

    @property
    def false_missed_share(self) -> float:
        """False *missed*, of those that were truly met. [1]"""
        return self.false_missed / max(self.truly_met, 1)

    @property
    def cannot_tell_share(self) -> float:
        """*Cannot tell*, of all. [1]"""
        return self.cannot_tell / max(self.attempts, 1)


def tally(attempts: Sequence[Simulated]) -> Tally:
    """Judge every attempt and compare with the truth."""
    counts: Counter[str] = Counter()
    wrong = []
    for number, one in enumerate(attempts):
        judged = judge(one.recording, one.procedure, one.marks)
        counts["met"] += one.met
        counts["cannot tell"] += judged.judgement == CANNOT_TELL
        needed = [line for line in judged.steps if not line.optional]
        counts["steps"] += len(needed)
        counts["steps open"] += sum(line.judgement == CANNOT_TELL for line in needed)
        counts["unexplained"] += judged.judgement == CANNOT_TELL and not _explained(judged)
        if judged.judgement == MET and not one.met:
            counts["false met"] += 1
            wrong.append(f"{number}: met, but {_truth(one)}")
        if judged.judgement == MISSED and one.met:
            counts["false missed"] += 1
            wrong.append(f"{number}: missed {judged.attempts[-1:]}, but met")
    return Tally(
        len(attempts),
        counts["met"],
        counts["false met"],
        counts["false missed"],
        counts["cannot tell"],
        counts["steps"],
        counts["steps open"],
        counts["unexplained"],
        tuple(wrong),
    )


def _truth(one: Simulated) -> str:
    worst = min(one.margins_s, key=lambda name: one.margins_s[name])
    return one.spoiled or f"{worst} missed by {-one.margins_s[worst]:.3f} s"


def _explained(judged: Judgement) -> bool:
    """Whether every open line's interval spans an edge of its window, or says what it lacks."""
    for line in judged.steps:
        if line.judgement != CANNOT_TELL or line.optional:
            continue
        least, most = line.window
        spans = line.measured is not None and any(
            line.measured.low < edge < line.measured.high for edge in (least, most)
        )
        if not spans and "sampled" not in line.why and "cannot say" not in line.why:
            return False
    return True


def _long_recording() -> Recording:
    """Ten minutes at 25 rows a second, four parameters, with one attempt in it."""
    one = simulate(np.random.default_rng(3), 25.0)
    while one.procedure != "idle-air-learning-by-pedal":
        one = simulate(np.random.default_rng(len(one.marks) + 17), 25.0)
    series = {}
    for name, part in one.recording.series.items():
        last = float(part.time_s[-1])
        more = np.arange(last + 0.04, 600.0, 0.04)
        value = np.concatenate([part.value, np.full(more.size, part.value[-1])])
        series[name] = Series(name, part.unit, np.concatenate([part.time_s, more]), value)
    return Recording(series, "ten minutes")


def judging_seconds(times: int = 30) -> float:
    """Median time of judging a recording of ten minutes. [s]"""
    recording = _long_recording()
    marks = {"lamp_blinks": 40.0, "lamp_steady": 50.0}
    took = []
    for _ in range(times):
        start = time.perf_counter()
        judge(recording, "idle-air-learning-by-pedal", marks)
        took.append(time.perf_counter() - start)
    return float(np.median(took))


def monitor_seconds() -> float:
    """Time of the monitor on the same windows over as many samples. [s]"""
    time_s = np.arange(0.0, 600.0, 0.04)
    took = 0.0
    for formula in formulae(find_procedure("idle-air-learning-by-pedal")):
        margin, seconds = evaluated(formula, time_s, (1_000, 1_100))
        if not np.isclose(margin, formula.window.margin_s(4.0)):
            raise RuntimeError(f"The monitor says {margin} of {formula.text}.")
        took += seconds
    return took


def _row(title: str, found: Tally) -> str:
    return (
        f"{title:34} {found.attempts:5} {found.truly_met:9} {found.false_met:9} "
        f"{found.false_missed:12} {found.false_missed_share:7.2%} {found.cannot_tell_share:11.1%} "
        f"{found.steps_open / max(found.steps, 1):12.1%} {found.unexplained:11}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="The judge against the truth.")
    parser.add_argument("--attempts", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--speed", action="store_true", help="only how fast, not how right")
    given = parser.parse_args()
    if given.speed:
        _speed()
        return
    rng = np.random.default_rng(given.seed)
    mixed = tally([simulate(rng) for _ in range(given.attempts)])
    ten = tally([simulate(rng, 10.0) for _ in range(given.attempts // 2)])
    harsh = tally([simulate(rng, 10.0, normal=True) for _ in range(given.attempts // 2)])
    heads = "attempts truly met false met false missed   share cannot tell   of steps unexplained"
    print(f"{'samples of the pedal a second':32} {heads}")
    print(_row("3 to 25", mixed))
    print(_row("10", ten))
    print(_row("10, jitter as standard deviation", harsh))
    for line in (*mixed.wrong, *ten.wrong, *harsh.wrong):
        print(f"  {line}")
    _speed()


def _speed() -> None:
    ours, theirs = judging_seconds(), monitor_seconds()
    keep("judging", {"judging_s": ours, "monitor_s": theirs})
    print(f"Judging ten minutes at 25 rows a second: {1e3 * ours:.1f} ms")
    print(
        f"rtamt on the same windows and samples: {1e3 * theirs:.0f} ms, {theirs / ours:.0f} times"
    )


if __name__ == "__main__":
    main()
