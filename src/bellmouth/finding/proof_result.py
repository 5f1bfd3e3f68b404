"""What a proof is: the same dataclass is the Python result, the ``--json`` document and what the
screen shows."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from bellmouth.finding.result import OfFamily, Size

__all__ = ["Change", "Need", "NewLeak", "PairPoint", "Proof", "Verdict"]

Verdict = Literal["better", "same", "worse", "cannot say yet"]


@dataclass(frozen=True)
class Change:
    """A cause's size before and after, and after less before, each with its 90 % interval.

    A cause that is not there has size 0 (mm, mm2, g/s), or 1 where its size is a ratio.
    ``present_before`` and ``present_after`` are its probabilities.
    """

    cause: str
    before: Size
    after: Size
    change: Size
    present_before: float
    present_after: float


@dataclass(frozen=True)
class NewLeak:
    """How probable it is that the work opened a leak, how big it would be, and how probable such a
    leak is by the weights alone, once it is known what became of the old trouble: where both are
    alike the recordings do not show it either way."""

    probability: float
    size: Size | None
    expected: float = 0.0


@dataclass(frozen=True)
class Need:
    """What would let the verdict be given, or make it surer, and why."""

    what: str
    why: str


@dataclass(frozen=True)
class PairPoint:
    """One operating point of one of the recordings, for pictures and tables; ``None`` is not
    reported. Airflow is metered, or computed from pressure where no meter is. [g/s], [kPa], [%]"""

    recording: Literal["before", "after"]
    kind: str
    engine_speed_rpm: float
    airflow_g_s: float | None
    manifold_pressure_kpa: float | None
    throttle_pct: float | None
    total_trim_pct: float | None
    total_trim_error_pct: float | None


@dataclass(frozen=True)
class Proof:
    """Whether the work did what it should.

    ``probability`` is that of the verdict; where it is ``cannot say yet``, of the likeliest of
    ``outcomes`` (better, same, worse). Better is two things at once: ``mended`` is the probability
    that something was wrong and is gone or at least 30 % smaller, whatever came beside it;
    ``nothing_new`` that nothing is there which was not before. ``courses`` are the likeliest
    courses from before to after; ``before`` and ``after`` each cause's probability alone or in a
    pair; ``learning`` the probability that learning has taken, and why it is thought so.
    ``withheld`` says that no verdict is given for want of anything but sureness, ``checked`` that
    checks made after the work are in it.
    """

    verdict: Verdict
    probability: float
    outcomes: Mapping[str, float]
    changes: tuple[Change, ...]
    learning_taken: float
    learning: tuple[str, ...]
    new_leak: NewLeak
    needs: tuple[Need, ...]
    courses: Mapping[str, float]
    before: Mapping[str, float]
    after: Mapping[str, float]
    warnings: tuple[str, ...]
    misfit: float
    mended: float = 0.0
    nothing_new: float = 1.0
    withheld: bool = False
    checked: bool = False
    points: tuple[PairPoint, ...] = ()
    family: OfFamily | None = None
