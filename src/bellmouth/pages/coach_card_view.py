"""What a procedure's card shows, for text and page alike: cumulative seconds, boxes, blanks."""

import math
from dataclasses import dataclass
from itertools import groupby

from bellmouth.learning.call_script import CallLine, call_script
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.procedures import window_words

__all__ = ["CoachCard", "Part", "Row", "card_view", "presses_words"]

#: A time line to scale is of no use for longer parts. [s]
_TIMED_S = 600.0


@dataclass(frozen=True, slots=True)
class Row:
    """One step: when it is called, what it is, how it is done; ``awaits`` gets a box.

    ``share`` is its place on the time line, from 0 to 1.
    """

    at: str
    say: str
    optional: bool
    told: tuple[str, ...]
    awaits: str
    caution: str
    share: float


@dataclass(frozen=True, slots=True)
class Part:
    """Steps whose times count from one moment; ``since`` is empty for the first action.

    ``whole_s`` is its length, 0 where a time line would not help. [s]
    """

    since: str
    rows: tuple[Row, ...]
    whole_s: float


@dataclass(frozen=True, slots=True)
class CoachCard:
    """A procedure on one printed side."""

    title: str
    source: str
    cautions: tuple[str, ...]
    erases: str
    conditions: tuple[str, ...]
    parts: tuple[Part, ...]
    signs: tuple[tuple[str, str], ...]
    safe_state: str


def card_view(procedure: Procedure) -> CoachCard:
    """The card of a procedure."""
    groups = groupby(call_script(procedure), key=lambda line: line.since)
    return CoachCard(
        title=procedure.title,
        source=procedure.source,
        cautions=procedure.cautions,
        erases=f"It erases: {', '.join(procedure.erases)}." if procedure.erases else "",
        conditions=tuple(condition.say for condition in procedure.conditions),
        parts=tuple(_part(since, list(lines)) for since, lines in groups),
        signs=tuple((sign.how, sign.what) for sign in procedure.signs),
        safe_state=procedure.safe_state,
    )


def _part(since: str, lines: list[CallLine]) -> Part:
    ends = [line.ends_s for line in lines if math.isfinite(line.ends_s)]
    whole_s = max([*ends, lines[-1].at_s])
    if not 0.0 < whole_s <= _TIMED_S:
        whole_s = 0.0
    return Part(since, tuple(_row(line, whole_s) for line in lines), whole_s)


def _row(line: CallLine, whole_s: float) -> Row:
    step = line.step
    longest = f", {line.longest_s:g} s at most" if math.isfinite(line.longest_s) else ""
    told = (step.show, _length(line), presses_words(line))
    return Row(
        at=_at(line.at_s),
        say=step.say,
        optional=step.optional,
        told=tuple(text for text in told if text),
        awaits=f"{line.awaits}{longest}" if line.awaits else "",
        caution=step.caution,
        share=line.at_s / whole_s if whole_s else 0.0,
    )


def _at(seconds: float) -> str:
    """Seconds on the clock, or hours and minutes once they are more."""
    if seconds < 3600.0:
        return f"{seconds:.1f}"
    return f"{int(seconds // 3600)} h {int(seconds % 3600 // 60):02}"


def _length(line: CallLine) -> str:
    step = line.step
    if step.lasts_s is not None:
        return f"Lasts {window_words(step.lasts_s)}."
    if step.after_s is not None:
        return f"{window_words(step.after_s).capitalize()} after {line.after}."
    return ""


def presses_words(line: CallLine) -> str:
    """When each of several presses is called, and within how long; empty for one."""
    if not line.presses_s:
        return ""
    times = " ".join(f"{at_s:.1f}" for at_s in line.presses_s)
    within = f", all within {line.step.within_s:g} s" if math.isfinite(line.step.within_s) else ""
    return f"Press at {times}{within}."
