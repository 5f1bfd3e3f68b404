"""Whose timing: what a person's attempts tell of how they act, and what suits them."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from bellmouth.learning.attempts import Attempts, KeptAttempt, kept_attempt
from bellmouth.learning.marks import EARLY_S, LATE_S
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.schedule import Kind, Leads
from bellmouth.learning.session import Session, Timing, leads_of

if TYPE_CHECKING:
    from bellmouth.learning.person import PersonTiming, Prediction

__all__ = [
    "by_person", "foretold", "keep_session", "keep_taps", "leads_for", "named", "tap_timing",
]  # fmt: skip

_SPOILT = ("stopped", "void")


def named(person: str) -> str:
    """A person's name or number, without needless space."""
    return " ".join(person.split())


def by_person(document: dict[str, Any], person: str) -> dict[str, Any]:
    """An attempt's document with whose it is, where somebody said."""
    return {**document, "by": named(person)} if named(person) else document


def foretold(
    attempts: Attempts, procedure: Procedure, person: str, lead_s: float | None
) -> "tuple[PersonTiming, Prediction]":
    """What a person's attempts tell, and how likely the next is to pass. [s]

    With no name, of everybody's; before any attempt, of anybody.
    """
    from bellmouth.learning.person import learn_timing  # noqa: PLC0415 - loads the sampler

    timing = learn_timing(attempts.read(named(person) or None))
    return timing, timing.predict(procedure, leads_of(lead_s or 0.0))


def leads_for(
    attempts: Attempts, procedure: Procedure, person: str, lead_s: float | None, *, follows: bool
) -> Leads:
    """By how much each kind of cue comes earlier: as asked for, else as suits the person. [s]

    ``follows`` is whether the coach will see what is done.
    """
    if lead_s is not None:
        return leads_of(lead_s) if lead_s else {}
    mine = attempts.read(named(person)) if named(person) else []
    if not any(one.timings and one.counts for one in mine):
        return {}
    from bellmouth.learning.person import learn_timing  # noqa: PLC0415

    return learn_timing(mine).predict(procedure, follows=follows).leads


def keep_taps(
    attempts: Attempts,
    procedure: Procedure,
    person: str,
    phase: str,
    judgement: str,
    taps: Sequence[Timing],
    marks: Mapping[str, list[float]],
    leads: Leads,
    *,
    practice: bool,
) -> None:
    """Keep what an attempt by taps tells of a person. [s]"""
    attempts.keep(
        KeptAttempt(
            procedure.name, named(person), _now(), phase, "" if phase in _SPOILT else judgement,
            leads={kind: float(value) for kind, value in leads.items()}, practice=practice,
            timings=tuple(taps), marks=dict(marks),
        )
    )  # fmt: skip


def keep_session(
    attempts: Attempts, session: Session, person: str, judgement: str, *, practice: bool
) -> None:
    """Keep what an attempt tells that was followed on a car's signals."""
    told = "" if session.phase in _SPOILT else judgement
    attempts.keep(
        kept_attempt(
            session, person=named(person), when=_now(), judgement=told, practice=practice
        )
    )  # fmt: skip


def tap_timing(step: str, kind: Kind, number: int, cued_s: float, done_s: float) -> Timing:
    """An action as a tap shows it: people tap a little after what they do. [s]"""
    return Timing(step, kind, number, cued_s, done_s, 0.5 * (EARLY_S + LATE_S))


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
