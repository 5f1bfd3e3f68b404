"""What is known of an attempt: moments with their uncertainty, presses, happenings, events."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from bellmouth.recording.series import Floats

__all__ = [
    "RUNS_RPM",
    "SETTLES_S",
    "SIGNALS",
    "SUPPLY",
    "TURNS_RPM",
    "Evidence",
    "Happening",
    "Moment",
    "Press",
    "between",
]

#: What of the person can be recorded; who does a step is one of these or cannot be seen.
SIGNALS = ("key", "pedal", "engine")
#: Above the first the engine turns, above the second it runs: common practice, no source. [rpm]
TURNS_RPM, RUNS_RPM = 50.0, 400.0
#: While the starter turns and this long after, the supply sags and says nothing. [s]
SETTLES_S = 2.0
SUPPLY = "control_module_voltage"


@dataclass(frozen=True, slots=True)
class Moment:
    """When something happened: not before ``low_s``, not after ``high_s``. [s]

    ``best_s`` is the middle, or what a person marked.
    """

    low_s: float
    high_s: float
    marked_s: float | None = None

    @property
    def best_s(self) -> float:
        """The best single figure; the finite end where the other is open. [s]"""
        if self.marked_s is not None:
            return self.marked_s
        if math.isinf(self.low_s):
            return self.high_s
        return self.low_s if math.isinf(self.high_s) else 0.5 * (self.low_s + self.high_s)


@dataclass(frozen=True, slots=True)
class Press:
    """One movement of the pedal away from rest and back.

    ``depth`` is ``full``, ``shallow`` or ``unsure``; ``held`` says whether it stayed down between:
    ``down``, ``eased`` (clearly not) or ``unsure``.
    """

    begin: Moment
    end: Moment
    depth: str = "full"
    held: str = "down"

    @property
    def lasted_s(self) -> float:
        """How long it was down, best figure. [s]"""
        return self.end.best_s - self.begin.best_s


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing that person or car did: ``key_on``, ``key_off``, ``press``, ``touch`` (of the
    pedal, too light for a press), ``engine_start`` or ``engine_stop``. ``then`` is when the engine
    ran after its start.
    """

    kind: str
    at: Moment
    press: Press | None = None
    then: Moment | None = None

    @property
    def end(self) -> Moment:
        """Where the next step's time begins: a press ends with its release."""
        return self.press.end if self.press is not None else self.at


@dataclass(frozen=True)
class Evidence:
    """Everything that a recording and marks show, in order of time.

    Attributes
    ----------
    happenings
        In order of ``at.best_s``.
    events
        When each event of the car was seen, by name.
    stood
        Events that a parameter shows: from when to when it lay within their limits, by name. [s]
    watched
        Events that somebody or something watched for, whether or not they came.
    taps
        Moments marked under another name, such as a step's.
    confirmed
        Conditions that a person says stood or did not.
    reasons
        Why a step was skipped or what replaced it, by step.
    signals
        What is recorded, of `SIGNALS`.
    pedal_s
        Times of the pedal's samples. [s]
    begin_s, end_s
        First and last sample. [s]
    notes
        Whole sentences on how the signals were read.
    seams
        Where the recording's clock began again: last sample before and first after. How long lies
        between, nobody knows. [s]
    """

    happenings: tuple[Happening, ...] = ()
    events: Mapping[str, tuple[Moment, ...]] = field(default_factory=dict)
    stood: Mapping[str, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    watched: frozenset[str] = frozenset()
    taps: Mapping[str, tuple[Moment, ...]] = field(default_factory=dict)
    confirmed: Mapping[str, bool] = field(default_factory=dict)
    reasons: Mapping[str, str] = field(default_factory=dict)
    signals: frozenset[str] = frozenset()
    pedal_s: Floats | None = None
    begin_s: float = 0.0
    end_s: float = 0.0
    notes: tuple[str, ...] = ()
    seams: tuple[tuple[float, float], ...] = ()


def between(first: Moment, then: Moment) -> tuple[float, float, float]:
    """Time from one moment to another: best figure, least and most it can be. [s]"""
    return then.best_s - first.best_s, then.low_s - first.high_s, then.high_s - first.low_s
