"""Whether what must stand stood: each condition against its signal, or a person's word."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.learning.evidence import RUNS_RPM, SETTLES_S, SUPPLY, TURNS_RPM, Evidence
from bellmouth.learning.judgement import CANNOT_TELL, MET, MISSED, ConditionJudgement
from bellmouth.learning.place import Placed
from bellmouth.learning.procedure import Condition, Procedure
from bellmouth.recording.series import Floats, Recording, Series

__all__ = ["due_s", "judge_conditions", "worst_margin"]

#: A reading taken this long before an attempt still tells what stood at its beginning. [s]
_BEFORE_S = 120.0


@dataclass(frozen=True)
class _Engine:
    """The engine's speed on the file's clock, or nothing."""

    time_s: Floats
    turning: NDArray[np.bool_]
    running: NDArray[np.bool_]

    def state(self, at_s: Floats) -> NDArray[np.int_]:
        """0 stopped, 1 running, 2 between (starting, or unknown), at each time."""
        if not self.time_s.size:
            return np.zeros(at_s.size, dtype=np.int_)
        before = np.clip(np.searchsorted(self.time_s, at_s, side="right") - 1, 0, None)
        after = np.clip(np.searchsorted(self.time_s, at_s), None, self.time_s.size - 1)
        past = np.clip(np.searchsorted(self.time_s, at_s - SETTLES_S, side="right") - 1, 0, None)
        runs = self.running[before] & self.running[after] & self.running[past]
        stands = ~(self.turning[before] | self.turning[after] | self.turning[past])
        return np.where(runs, 1, np.where(stands, 0, 2))


def judge_conditions(
    evidence: Evidence,
    procedure: Procedure,
    placed: Sequence[Placed],
    recording: Recording | None,
) -> tuple[ConditionJudgement, ...]:
    """One line a condition, in the order of the file."""
    engine, asleep = _engine(recording), _asleep(evidence)
    found = []
    for condition in procedure.conditions:
        series = recording.get(condition.signal) if recording and condition.signal else None
        if series is None or recording is None:
            found.append(_told(evidence, condition))
            continue
        begin_s, end_s = _span(evidence, condition, placed)
        time = series.time_s + recording.begins_s
        if condition.when == "before":
            found.append(_at_start(condition, series, time, engine, begin_s, end_s))
            continue
        found.append(_throughout(condition, series, time, engine, begin_s, end_s, asleep))
    return tuple(found)


def _engine(recording: Recording | None) -> _Engine:
    speed = recording.get("engine_speed") if recording else None
    if speed is None or recording is None:
        return _Engine(np.empty(0), np.empty(0, dtype=bool), np.empty(0, dtype=bool))
    time = speed.time_s + recording.begins_s
    return _Engine(time, speed.value >= TURNS_RPM, speed.value >= RUNS_RPM)


def _asleep(evidence: Evidence) -> tuple[tuple[float, float], ...]:
    """From when to when the key was off, each as long as it may have been. [s]"""
    found, off_s = [], math.inf
    for item in evidence.happenings:
        if item.kind == "key_off":
            off_s = item.at.low_s
        elif item.kind == "key_on" and off_s < item.at.high_s:
            found.append((off_s, item.at.high_s))
            off_s = math.inf
    if math.isfinite(off_s):
        found.append((off_s, math.inf))
    return tuple(found)


def _span(
    evidence: Evidence, condition: Condition, placed: Sequence[Placed]
) -> tuple[float, float]:
    """From when to when a condition must stand, on the file's clock. [s]"""
    names = [item.step.name for item in placed]
    first = names.index(condition.first) if condition.first else 0
    last = names.index(condition.last) if condition.last else len(names) - 1
    needed = [item for item in placed[first : last + 1] if not item.step.optional]
    begins = [item.begin.best_s for item in needed if item.begin is not None]
    ends = [due_s(item) for item in needed if item.end is not None]
    begin = min((at for at in begins if math.isfinite(at)), default=evidence.begin_s)
    return begin, max((at for at in ends if math.isfinite(at)), default=evidence.end_s)


def due_s(item: Placed) -> float:
    """When a step was over: what ended it, but no later than it asks for. [s]"""
    assert item.end is not None  # noqa: S101 - the caller looked
    over = item.until.best_s if item.until is not None else item.end.best_s
    if item.presses and item.step.do == "press":
        return item.presses[-1].end.best_s
    if item.step.lasts_s is not None and item.step.do != "press":
        return min(over, item.end.best_s + item.step.lasts_s.least_s)
    return item.end.best_s


def _told(evidence: Evidence, condition: Condition) -> ConditionJudgement:
    """A condition that no signal shows: as a person says, else unknown."""
    said = evidence.confirmed.get(condition.name)
    if said is None:
        told = f"{condition.signal} is not recorded" if condition.signal else "A person must tell"
        why = f'{told}; confirm it with a mark, "{condition.name}": true.'
        return _line(condition, CANNOT_TELL, why, seen=False)
    return _line(condition, MET if said else MISSED, "As marked.")


def _at_start(
    condition: Condition,
    series: Series,
    time: Floats,
    engine: _Engine,
    begin_s: float,
    end_s: float,
) -> ConditionJudgement:
    """The last reading before the attempt that counts, else the first one in it."""
    counts = _counts(condition, engine, time)
    before = np.flatnonzero(counts & (time <= begin_s) & (time >= begin_s - _BEFORE_S))
    inside = np.flatnonzero(counts & (time > begin_s) & (time <= end_s))
    if not before.size and not inside.size:
        return _line(condition, CANNOT_TELL, "Not read around the beginning.", seen=False)
    index = int(before[-1]) if before.size else int(inside[0])
    value = float(series.value[index])
    good = condition.least <= value <= condition.most
    why = "" if good else f"It was {_shown(value, condition)}."
    judgement = MET if good else MISSED
    return _line(condition, judgement, why, worst=value, at_s=float(time[index]))


def _throughout(
    condition: Condition,
    series: Series,
    time: Floats,
    engine: _Engine,
    begin_s: float,
    end_s: float,
    asleep: Sequence[tuple[float, float]],
) -> ConditionJudgement:
    """Every reading within the span; a gap in which a break could hide cannot tell."""
    first = int(np.searchsorted(time, begin_s))
    last = int(np.searchsorted(time, end_s, side="right"))
    # A reading holds until the next one, so the one before still counts if it is fresh.
    first -= first > 0 and begin_s - float(time[first - 1]) <= condition.shortest_s
    near, value = time[first:last], series.value[first:last]
    counts = _counts(condition, engine, near)
    if not counts.any():
        return _line(condition, CANNOT_TELL, "Not read during the attempt.", seen=False)
    index, margin = worst_margin(condition, value, counts)
    worst, at_s = float(value[index]), float(near[index])
    if margin < 0:
        why = f"It was {_shown(worst, condition)} at {at_s:.1f} s."
        return _line(condition, MISSED, why, worst=worst, at_s=at_s)
    # Where nothing need stand nothing need be read, either.
    free = engine.time_s[~_counts(condition, engine, engine.time_s)]
    seen = np.concatenate([near, free[(free >= begin_s) & (free <= end_s)], [begin_s, end_s]])
    widest = _widest_gap(np.sort(seen), asleep)
    if widest > condition.shortest_s:
        why = f"Not read for {widest:.1f} s, in which a break could hide."
        return _line(condition, CANNOT_TELL, why, worst=worst, at_s=at_s)
    return _line(condition, MET, worst=worst, at_s=at_s)


def worst_margin(
    condition: Condition, value: Floats, counts: NDArray[np.bool_]
) -> tuple[int, float]:
    """Which value is furthest out, and how far inside its limits it is. [1], [unit]

    Over the values of a span this is the robustness of *always within the limits* in signal
    temporal logic [1]_; of one limit turned round, minus that of *eventually*.

    References
    ----------
    .. [1] G. E. Fainekos, G. J. Pappas, Robustness of temporal logic specifications for
       continuous-time signals, Theoretical Computer Science 410 (2009); from memory.
    """
    inside = np.minimum(value - condition.least, condition.most - value)
    inside[~counts] = np.inf
    index = int(np.argmin(inside))
    return index, float(inside[index])


def _widest_gap(time: Floats, asleep: Sequence[tuple[float, float]]) -> float:
    """Longest time between readings while the key was on. [s]"""
    steps = np.diff(time)
    for off_s, on_s in asleep:
        # The key turned off is no gap in the readings: the condition has nothing to stand on there.
        for index in np.flatnonzero((time[:-1] < on_s) & (time[1:] > off_s)):
            steps[index] = max(off_s - time[index], time[index + 1] - on_s, 0.0)
    return float(steps.max(initial=0.0))


def _counts(condition: Condition, engine: _Engine, time: Floats) -> NDArray[np.bool_]:
    if condition.engine == "running":
        return np.asarray(engine.state(time) == 1)
    if condition.engine == "stopped":
        return np.asarray(engine.state(time) == 0)
    if condition.signal == SUPPLY:
        return np.asarray(engine.state(time) != 2)
    return np.ones(time.size, dtype=bool)


def _shown(value: float, condition: Condition) -> str:
    digits = 1 if abs(value) < 100 else 0
    limits = []
    if math.isfinite(condition.least):
        limits.append(f"at least {condition.least:g}")
    if math.isfinite(condition.most):
        limits.append(f"at most {condition.most:g}")
    return f"{value:.{digits}f} {condition.unit}, {' and '.join(limits)} wanted"


def _line(
    condition: Condition,
    judgement: str,
    why: str = "",
    *,
    worst: float | None = None,
    at_s: float | None = None,
    seen: bool = True,
) -> ConditionJudgement:
    return ConditionJudgement(
        condition.name,
        judgement,
        condition.say,
        why,
        worst,
        condition.unit,
        at_s,
        seen,
        condition.mend,
    )
