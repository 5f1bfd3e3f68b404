"""What a procedure's card shows, for text and page alike: cumulative seconds, boxes, blanks."""

import math
from dataclasses import dataclass
from itertools import groupby

from bellmouth.learning.call_script import CallLine, call_script
from bellmouth.learning.procedure import Procedure
from bellmouth.pages.card_words import Words
from bellmouth.pages.coach_paper import plain, say, time, window
from bellmouth.pages.coach_paper_words import PAPER_WORDS

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
    """A procedure on one printed side, in the reader's language."""

    title: str
    source: str
    cautions: tuple[str, ...]
    erases: str
    conditions: tuple[str, ...]
    parts: tuple[Part, ...]
    signs: tuple[tuple[str, str], ...]
    safe_state: str


def card_view(procedure: Procedure, words: Words | None = None) -> CoachCard:
    """The card of a procedure; in English where no ``words`` are given."""
    words = words or Words()
    text = words.told
    groups = groupby(call_script(procedure), key=lambda line: line.since)
    what = ", ".join(text(one) for one in procedure.erases)
    return CoachCard(
        title=text(procedure.title),
        source=text(procedure.source),
        cautions=tuple(text(caution) for caution in procedure.cautions),
        erases=say(words, "erases", what=what) if what else "",
        conditions=tuple(text(condition.say) for condition in procedure.conditions),
        parts=tuple(_part(text(since), list(lines), words) for since, lines in groups),
        signs=tuple((text(sign.how), text(sign.what)) for sign in procedure.signs),
        safe_state=text(procedure.safe_state),
    )


def _part(since: str, lines: list[CallLine], words: Words) -> Part:
    ends = [line.ends_s for line in lines if math.isfinite(line.ends_s)]
    whole_s = max([*ends, lines[-1].at_s])
    if not 0.0 < whole_s <= _TIMED_S:
        whole_s = 0.0
    return Part(since, tuple(_row(line, whole_s, words) for line in lines), whole_s)


def _row(line: CallLine, whole_s: float, words: Words) -> Row:
    step, text = line.step, words.told
    told = (text(step.show), _length(line, words), presses_words(line, words))
    return Row(
        at=_at(line.at_s, words),
        say=text(step.say),
        optional=step.optional,
        told=tuple(one for one in told if one),
        awaits=_awaits(line, words),
        caution=text(step.caution),
        share=line.at_s / whole_s if whole_s else 0.0,
    )


def _awaits(line: CallLine, words: Words) -> str:
    event = words.told(line.awaits)
    if event and math.isfinite(line.longest_s):
        return say(words, "awaits", event=event, time=time(words, line.longest_s))
    return say(words, "awaits_open", event=event) if event else ""


def _at(seconds: float, words: Words) -> str:
    """Seconds on the clock, or hours and minutes once they are more."""
    if seconds < 3600.0:
        return plain(words, seconds, ".1f")
    return f"{int(seconds // 3600)} h {int(seconds % 3600 // 60):02}"


def _length(line: CallLine, words: Words) -> str:
    step = line.step
    if step.lasts_s is not None:
        return say(words, "lasts", window=window(words, step.lasts_s))
    if step.after_s is not None:
        return window(words, step.after_s, _anchor(line.after, words))
    return ""


def _anchor(after: str, words: Words) -> str:
    """What a time counts from: a step's own words in quotation marks, or an event."""
    if after == PAPER_WORDS["before"]:
        return say(words, "before")
    if after.startswith('"') and after.endswith('"'):
        return f'"{words.told(after[1:-1])}"'
    return say(words, "moment", event=words.told(after))


def presses_words(line: CallLine, words: Words | None = None) -> str:
    """When each of several presses is called, and within how long; empty for one."""
    if not line.presses_s:
        return ""
    words = words or Words()
    times = " ".join(plain(words, at_s, ".1f") for at_s in line.presses_s)
    if math.isfinite(line.step.within_s):
        return say(words, "presses_within", times=times, time=plain(words, line.step.within_s))
    return say(words, "presses", times=times)
