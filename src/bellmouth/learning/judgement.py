"""What the judge hands back: frozen, typed, and the same for page, command and program."""

import math
from dataclasses import dataclass

__all__ = [
    "CANNOT_TELL",
    "MET",
    "MISSED",
    "Attempt",
    "ConditionJudgement",
    "Judgement",
    "Measured",
    "StepJudgement",
    "worst",
]

MET, MISSED, CANNOT_TELL = "met", "missed", "cannot tell"


@dataclass(frozen=True, slots=True)
class Measured:
    """A measured time: best figure, and what the sampling allows. [s]

    ``low`` or ``high`` is infinite where the recording does not hold that end.
    """

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class StepJudgement:
    """One step's window and how it went.

    Attributes
    ----------
    step
        The step's name; a step with two windows has a second line, ``"key_off: plate_moves"``.
    judgement
        ``met``, ``missed`` or ``cannot tell``.
    measured
        The measured time, or None where there was nothing to measure. [s]
    window
        Least and most it may be; infinite where there is no limit. [s]
    margin
        Distance of the best figure to the nearer edge, negative where it lies outside; None where
        nothing was measured or something else than the time decided. [s]
    why
        One sentence; empty where the numbers say it all.
    optional
        Whether the attempt can be met without it.
    at_s
        When the step began on the recording's clock, or None. [s]
    """

    step: str
    judgement: str
    measured: Measured | None = None
    window: tuple[float, float] = (0.0, math.inf)
    margin: float | None = None
    unit: str = "s"
    why: str = ""
    optional: bool = False
    at_s: float | None = None


@dataclass(frozen=True, slots=True)
class ConditionJudgement:
    """Whether a condition stood: ``worst`` is the value furthest out and ``at_s`` when. [unit]"""

    condition: str
    judgement: str
    say: str
    why: str = ""
    worst: float | None = None
    unit: str = ""
    at_s: float | None = None
    seen: bool = True
    mend: str = ""


@dataclass(frozen=True, slots=True)
class Attempt:
    """One of several attempts in a recording: when it began, how it went, what was missed.

    ``ends_s`` is when its last step was over: what ended it, or what the step asks for. [s]
    """

    begins_s: float
    ends_s: float
    judgement: str
    missed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Judgement:
    """The judgement of one attempt, the last of the recording.

    Attributes
    ----------
    procedure
        The procedure's name.
    judgement
        ``met``, ``missed`` or ``cannot tell``.
    steps, conditions
        Line by line.
    consequence
        What probably happened instead, one sentence or empty.
    repeat
        ``repeat``, ``mend first`` or empty where there is nothing to do again.
    advice
        What to do now, in whole sentences.
    attempts
        Every attempt found, in order of time; the last is the one judged.
    notes
        How the signals were read.
    does
        What the procedure makes the controller learn, as the procedure says it.
    """

    procedure: str
    title: str
    judgement: str
    steps: tuple[StepJudgement, ...]
    conditions: tuple[ConditionJudgement, ...]
    consequence: str = ""
    repeat: str = ""
    advice: str = ""
    attempts: tuple[Attempt, ...] = ()
    notes: tuple[str, ...] = ()
    does: str = ""


def worst(judgements: list[str]) -> str:
    """One judgement for several: missed beats cannot tell, which beats met."""
    if MISSED in judgements:
        return MISSED
    return CANNOT_TELL if CANNOT_TELL in judgements else MET
