"""A finding in the words of the car it is of: one that meters pressure has no airflow meter.

There ``meter_low`` and ``meter_high`` are the airflow that the controller computes; a mechanic who
reads of a meter would look for one. The names of the contract stay as they are.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import TypeVar

from bellmouth.car.description import Car
from bellmouth.finding.result import CauseProbability, Evidence, Finding

__all__ = ["as_metered", "shown_cause"]

_COMPUTED = {"meter_low": "computed_air_low", "meter_high": "computed_air_high"}
T = TypeVar("T")


def as_metered(finding: Finding, car: Car) -> Finding:
    """The finding to be shown: as it is, or with the computed airflow named in a meter's place."""
    if car.metering != "pressure":
        return finding
    picture = finding.picture
    points = tuple(
        replace(one, total_trim_by_cause_pct=_keys(one.total_trim_by_cause_pct))
        for one in picture.points
    )
    return replace(
        finding,
        causes=tuple(map(_cause, finding.causes)),
        prior=_keys(finding.prior),
        present=_keys(finding.present),
        evidence=tuple(map(_evidence, finding.evidence)),
        picture=replace(picture, points=points, trim_curves=_keys(picture.trim_curves)),
    )


def shown_cause(cause: str, metering: str) -> str:
    """The name of a cause, a pair or a course, for a car that meters its air in this way."""
    return _name(cause) if metering == "pressure" else cause


def _name(cause: str) -> str:
    for meter, computed in _COMPUTED.items():
        cause = cause.replace(meter, computed)
    return cause


def _keys(told: Mapping[str, T]) -> dict[str, T]:
    return {_name(cause): value for cause, value in told.items()}


def _cause(entry: CauseProbability) -> CauseProbability:
    confusable = tuple(map(_name, entry.confusable_with))
    return replace(
        entry, cause=_name(entry.cause), sizes=_keys(entry.sizes), confusable_with=confusable
    )


def _evidence(item: Evidence) -> Evidence:
    """Evidence begins with the cause that it speaks for, in words."""
    cause, colon, what = item.what.partition(":")
    named = _name(cause.replace(" ", "_")).replace("_", " ")
    return replace(item, what=f"{named}{colon}{what}") if colon else item
