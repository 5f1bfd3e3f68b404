"""What a verdict still needs, and what speaks for the learning having taken."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from bellmouth.finding.courses import AFTER, BEFORE
from bellmouth.finding.lowest_idle import lowest_idle
from bellmouth.finding.proof_result import Need, Verdict
from bellmouth.recording.series import Recording
from bellmouth.recording.stretch import Stretch

if TYPE_CHECKING:
    from bellmouth.finding.prove import Pair

__all__ = ["learning_reasons", "needs_of", "settled"]

# How much there has to be before trims are believed: common practice, no source.
_CLOSED_LOOP_S = 20.0
_JUST_CLEARED_MIN = 2.0
_CLEARED_KM = 100.0
_STALE = 0.2  # from here on the learning is asked for; our choice


def settled(after: Sequence[Stretch], recording: Recording) -> tuple[Need, ...]:
    """What has to pass before the recording after is worth judging; empty where it is."""
    running = [stretch for stretch in after if stretch.kind != "engine off"]
    closed = sum(stretch.seconds for stretch in running if stretch.closed_loop is not False)
    found = []
    if closed < _CLOSED_LOOP_S:
        found.append(
            Need(
                "another minute of warm idle in closed loop",
                f"only {closed:.0f} s of it were recorded after the work",
            )
        )
    clock = recording.get("time_since_codes_cleared")
    if clock is not None and clock.value[-1] < _JUST_CLEARED_MIN:
        found.append(
            Need(
                "a few minutes of idle and a hot restart before the recording",
                f"the memory was cleared {clock.value[-1]:.0f} min before its end: trims read "
                "just after a reset are near zero whatever is wrong",
            )
        )
    return tuple(found)


def needs_of(
    pair: "Pair",
    verdict: Verdict,
    unready: Sequence[Need],
    after: Mapping[str, float],
    *,
    either: bool = False,
) -> tuple[Need, ...]:
    """What would settle a verdict that cannot be given yet, or confirm one that is; ``either``:
    which of the two recordings is right is not known."""
    found = [*unready, *([_which_is_right(pair)] if either else [])]
    stale, leak = after.get("learned_stale", 0.0), after.get("leak", 0.0)
    if stale > _STALE:
        found.append(
            Need(
                "the idle learning procedure, a hot restart, then this recording again",
                f"{stale * 100:.0f} % that learning has not taken; the procedure changes that "
                "and nothing else",
            )
        )
    found += _leak_check(pair, verdict, leak)
    if verdict == "cannot say yet" and not either:
        found += _more_recording(pair, learns=stale > _STALE)
    elif verdict == "worse":
        found.append(
            Need(
                "a look at the two files: is BEFORE really from before the work?",
                "given the wrong way round, a repair looks like damage",
            )
        )
    elif verdict == "better":
        found.append(
            Need(
                f"the same recording again after about {_CLEARED_KM:.0f} km",
                "long-term trims and learned idle go on moving (common practice, no source)",
            )
        )
    return tuple(found)


def _leak_check(pair: "Pair", verdict: Verdict, leak: float) -> list[Need]:
    """A leak check, where air may come in after the work, or might and nobody looked with smoke."""
    check = "a leak check (listen, soapy water, smoke with the engine cold)"
    if 0.1 < leak < 0.9:
        return [Need(check, f"{leak * 100:.0f} % that air leaks in after the work")]
    looked = any(one.check == "smoke_test" for one in pair.results)
    hides = not pair.observations.airflow_metered and not looked
    if leak <= 0.1 and verdict == "better" and hides:
        why = (
            "this car meters pressure: a small leak hides in the idle that its controller corrects"
        )
        return [Need(check, why)]
    return []


def _which_is_right(pair: "Pair") -> Need:
    """What tells something that was mended from something that went wrong."""
    o = pair.observations
    trimmed = [np.isfinite(o.log_trim[o.recording == number]).any() for number in (BEFORE, AFTER)]
    return Need(
        "a check of the part that was worked on"
        if all(trimmed)
        else "fuel trims in both recordings, or a check of the part that was worked on",
        "the two differ, but the readings do not tell which of them is right: what was mended and "
        "what went wrong look alike here",
    )


def _more_recording(pair: "Pair", *, learns: bool) -> list[Need]:
    """What a recording after can still be given: the one before is past. ``learns``: one after
    the learning is asked for already."""
    if {"held", "drive"} & {stretch.kind for stretch in pair.stretches[AFTER]}:
        if learns:
            return []
        return [
            Need(
                "another recording after, under the same weather and loads as before",
                "what is left open is no larger than these can make",
            )
        ]
    return [
        Need(
            "speeds held at 1,500 and 2,500 rpm for half a minute each, warm",
            "the recording after has idle alone: how trim and pressure change with airflow tells "
            "causes apart",
        )
    ]


def learning_reasons(pair: "Pair") -> tuple[str, ...]:
    """What the idle says of the learning: speed and opening after against before."""
    o, table = pair.observations, pair.priors.idle_speed
    speeds = [lowest_idle(o, table, o.recording == number) for number in (BEFORE, AFTER)]
    if not np.isfinite(speeds[AFTER].speed_rpm):
        return ("no warm idle after the work was recorded: idle it warm, loads off",)
    found = [f"warm idle {speeds[AFTER].speed_rpm:.0f} rpm after"]
    if np.isfinite(speeds[BEFORE].speed_rpm):
        found[0] += f", {speeds[BEFORE].speed_rpm:.0f} rpm before"
    openings = [_opening(pair, number) for number in (BEFORE, AFTER)]
    if all(np.isfinite(openings)):
        found.append(
            f"throttle at idle {openings[AFTER]:.1f} % after, {openings[BEFORE]:.1f} % before"
        )
    return tuple(found)


def _opening(pair: "Pair", recording: int) -> float:
    """Lowest throttle reading at idle of a recording. [%]"""
    o = pair.observations
    readings = o.throttle_pct[o.idle & (o.recording == recording) & np.isfinite(o.throttle_pct)]
    return float(readings.min()) if len(readings) else float("nan")
