"""What a finding is: the same dataclass is the Python result, the ``--json`` document and what
the screen shows."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, Self

if TYPE_CHECKING:
    from bellmouth.finding.family import Family

__all__ = [
    "CauseProbability",
    "Evidence",
    "Finding",
    "NextCheck",
    "OfFamily",
    "Picture",
    "PicturePoint",
    "Size",
    "With",
]

#: What the results of a check disagree with: what was recorded, or one another.
With = Literal["recording", "itself"]


@dataclass(frozen=True)
class Size:
    """A size with the interval that holds it nine times in ten. ``unit``: mm, mm2, ratio, g/s."""

    value: float
    low: float
    high: float
    unit: str


@dataclass(frozen=True)
class CauseProbability:
    """A cause (or a pair joined with ``+``), how probable, how big, what it may be mistaken for."""

    cause: str
    probability: float
    sizes: Mapping[str, Size]
    confusable_with: tuple[str, ...] = ()


@dataclass(frozen=True)
class NextCheck:
    """A check, the bits it is expected to give, what it costs, why, and the outcomes that
    ``--result check=outcome`` accepts (``value`` in an outcome stands for a number). ``made`` is
    how often it was made before: made again, it tells what is not the same error once more."""

    check: str
    bits: float
    minutes: float
    why: str
    how: str
    outcomes: tuple[str, ...]
    caution: str = ""
    made: int = 0


@dataclass(frozen=True)
class Evidence:
    """One thing the recording says: which readings, what they show, and how strongly (standard
    deviations of disagreement for a misfit; difference of log evidence in nats for a support)."""

    what: str
    strength: float
    readings: tuple[str, ...] = ()


@dataclass(frozen=True)
class PicturePoint:
    """One operating point as the pictures need it: routes of airflow [g/s], total trim [%], and
    which of the recordings that are judged together it is of."""

    kind: str
    start_s: float
    end_s: float
    engine_speed_rpm: float
    airflow_meter_g_s: float | None
    airflow_speed_density_g_s: tuple[float, float, float] | None
    airflow_throttle_g_s: tuple[float, float, float] | None
    true_airflow_g_s: float | None
    manifold_pressure_kpa: float | None
    throttle_pct: float | None
    total_trim_pct: tuple[float, float] | None
    total_trim_by_cause_pct: Mapping[str, float] = field(default_factory=dict)
    recording: int = 1


@dataclass(frozen=True)
class Picture:
    """What the pictures draw: points of the recording under judgement, and each cause's curve of
    total trim [%] against true airflow [g/s]. Three-number tuples are (value, low, high) at 90 %;
    ``total_trim_pct`` is (value, standard error); of an engine with two banks, of their mean."""

    points: tuple[PicturePoint, ...]
    trim_curves: Mapping[str, tuple[tuple[float, float], ...]]


@dataclass(frozen=True)
class OfFamily:
    """The engine family that was told of, how many cars and recordings it was learnt from, and how
    probable it is by these readings that the car is one of them."""

    name: str
    cars: int
    recordings: int
    belongs: float

    @classmethod
    def told(cls, family: "Family | None", belongs: float | None) -> Self | None:
        """None where no family was given."""
        if family is None or belongs is None:
            return None
        return cls(family.name, family.cars, family.recordings, belongs)

    @property
    def notes(self) -> tuple[str]:
        """What to say of it; that it was used, or that the car is more probably none of them."""
        if self.belongs >= 0.5:
            return (f"Judged beside {self.cars} cars of the family {self.name}.",)
        return (
            f"These readings do not look like a car of the family {self.name} ({self.cars} cars): "
            "what was learnt from it was set aside. Is it the right family, and the right car?",
        )


@dataclass(frozen=True)
class Finding:
    """What is wrong, how big, how sure, and what would settle it. ``causes`` is sorted, most
    probable first, and its probabilities sum to 1; ``present`` is each single cause's
    probability alone or in a pair; ``prior`` the weight each had before the recording. ``misfit``
    is about 1 where the readings fit the likeliest cause as well as they should [-], and
    ``log_evidence`` what they say of each hypothesis, prior left out [nat].
    ``disagreeing`` are the checks that the finding has in it and that disagree, and with what."""

    causes: tuple[CauseProbability, ...]
    prior: Mapping[str, float]
    present: Mapping[str, float]
    next_checks: tuple[NextCheck, ...]
    evidence: tuple[Evidence, ...]
    excluded: tuple[str, ...]
    warnings: tuple[str, ...]
    misfit: float
    complaint: str
    picture: Picture
    log_evidence: Mapping[str, float] = field(default_factory=dict)
    family: OfFamily | None = None
    disagreeing: Mapping[str, With] = field(default_factory=dict)
