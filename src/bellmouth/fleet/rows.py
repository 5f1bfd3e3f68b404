"""Recordings of a survey as rows: the finding's figures, or why there is none.

A bundle's recordings are inferred together, which costs half of what they cost one by one and
changes no figure. Only what a row keeps is worked out: no next checks, no evidence in words.
"""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from bellmouth import __version__
from bellmouth.car.description import Car, Complaint
from bellmouth.finding.case import Case, Prepared, prepare, solve_many
from bellmouth.finding.causes import SINGLE_CAUSES
from bellmouth.finding.hypothesis import Hypotheses
from bellmouth.finding.priors import cause_weights
from bellmouth.finding.sizes import sizes_of
from bellmouth.finding.suitable import refuse_dead
from bellmouth.finding.weights import hypothesis_weights
from bellmouth.fleet.addresses import near
from bellmouth.fleet.inputs import Found, explain
from bellmouth.recording import read_recording
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches

__all__ = ["SCHEMA", "Task", "refusal", "rows_of"]

Floats = NDArray[np.float64]

_PRESENT = {f"present_{cause}": pl.Float64 for cause in SINGLE_CAUSES}
_SIZES = {
    f"{cause}_{part}": pl.Float64 for cause in SINGLE_CAUSES for part in ("value", "low", "high")
}
#: Columns of the findings, in order. ``docs/survey.md`` says what each is.
SCHEMA: Mapping[str, Any] = {
    "recording": pl.String,
    "mark": pl.String,
    "car": pl.String,
    "family": pl.String,
    "metering": pl.String,
    "error": pl.String,
    "cause": pl.String,
    "probability": pl.Float64,
    "healthy": pl.Float64,
    "unexplained": pl.Float64,
    **_PRESENT,
    **_SIZES,
    "misfit": pl.Float64,
    "idle_throttle_pct": pl.Float64,
    "idle_speed_rpm": pl.Float64,
    "seconds": pl.Float64,
    "stretches": pl.Int64,
    "distance_km": pl.Float64,
    "input_hash": pl.String,
    "software": pl.String,
}


def refusal(
    recording: str, mark: str, car: str | None, family: str, why: str, metering: str | None = None
) -> dict[str, Any]:
    """The row of a recording without a finding, or of a car without a recording."""
    return {
        **dict.fromkeys(SCHEMA),
        "recording": recording,
        "mark": mark,
        "car": car,
        "family": family,
        "metering": metering,
        "error": why,
        "software": __version__,
    }


@dataclass(frozen=True)
class Task:
    """A recording with what its row needs. The car's complaint sets the prior."""

    found: Found
    identity: str
    family: str
    car: Car


@dataclass(frozen=True)
class _Read:
    """What is kept of a recording once it is read."""

    prepared: Prepared
    input_hash: str
    seconds: float
    stretches: int
    distance_km: float | None


def rows_of(tasks: Sequence[Task]) -> list[dict[str, Any]]:
    """Read, judge, tell: one row a task in their order, whatever happens."""
    rows: dict[int, dict[str, Any]] = {}
    read: dict[int, _Read] = {}
    for place, task in enumerate(tasks):
        try:
            read[place] = _read(task)
        except Exception as error:  # noqa: BLE001 - a damaged recording is a row, never a stop
            rows[place] = _refused(task, error)
    for place, case in _cases(read).items():
        task = tasks[place]
        try:
            rows[place] = _told(task, read[place], case)
        except Exception as error:  # noqa: BLE001 - as above
            rows[place] = _refused(task, error)
    for place in read.keys() - rows.keys():
        try:
            case = solve_many([read[place].prepared])[0]
            rows[place] = _told(tasks[place], read[place], case)
        except Exception as error:  # noqa: BLE001 - as above
            rows[place] = _refused(tasks[place], error)
    return [rows[place] for place in range(len(tasks))]


def _cases(read: Mapping[int, _Read]) -> dict[int, Case]:
    """All inferred together; none where one of them cannot be, which must not cost the others."""
    try:
        cases = solve_many([one.prepared for one in read.values()])
    except Exception:  # noqa: BLE001 - whose it is shows when each is inferred alone
        return {}
    return dict(zip(read, cases, strict=True))


def _refused(task: Task, error: Exception) -> dict[str, Any]:
    found = task.found
    why = explain(error)
    return refusal(found.path, found.mark, task.identity, task.family, why, task.car.metering)


def _read(task: Task) -> _Read:
    with near(task.found.path) as path:
        recording = read_recording(path)
        # Read again, a block at a time: 0.3 % of a row's time, and no second copy in memory.
        with path.open("rb") as file:
            input_hash = hashlib.file_digest(file, "sha256").hexdigest()
    refuse_dead(recording, task.car)
    steady = stretches(recording)
    return _Read(
        prepared=prepare(steady, (), task.car, recording.source),
        input_hash=input_hash,
        seconds=max(float(series.time_s[-1]) for series in recording.series.values()),
        stretches=len(steady),
        distance_km=_distance_km(recording),
    )


def _distance_km(recording: Recording) -> float | None:
    distance = recording.get("odometer")
    return float(distance.value[-1]) if distance is not None else None


@dataclass(frozen=True)
class _Asked:
    """What is the same for all recordings of which the same is asked: the log weight of every
    hypothesis and of no cause, and the hypotheses that hold each cause."""

    log_weight: Floats
    holding: Mapping[str, tuple[str, ...]]


@cache
def _asked(
    complaint: Complaint, names: tuple[str, ...], causes: tuple[tuple[str, ...], ...]
) -> _Asked:
    nothing = np.zeros((len(names), 2))
    weights = hypothesis_weights(
        cause_weights(complaint), Hypotheses(names, causes, *[nothing] * 4)
    )
    with np.errstate(divide="ignore"):
        log_weight = np.log([weights[name] for name in (*names, "unexplained")])
    members = dict(zip(names, causes, strict=True))
    holding = {
        cause: tuple(name for name in names if cause in members[name])
        for cause in SINGLE_CAUSES
        if cause in members
    }
    return _Asked(np.asarray(log_weight), holding)


def _told(task: Task, read: _Read, case: Case) -> dict[str, Any]:
    found, car = task.found, task.car
    hypotheses = case.hypotheses
    asked = _asked(car.complaint or "unknown", hypotheses.names, hypotheses.causes)
    logs = case.log_evidence + asked.log_weight
    probability = np.exp(logs - np.logaddexp.reduce(logs))
    told = dict(zip(case.names, map(float, probability), strict=True))
    best = max(told, key=lambda name: told[name])
    row = refusal(found.path, found.mark, task.identity, task.family, "", car.metering)
    sizes = sizes_of(case, {best, *SINGLE_CAUSES})
    for cause, holding in asked.holding.items():
        row[f"present_{cause}"] = sum(told[name] for name in holding)
        size = (sizes[best] if cause in sizes.get(best, {}) else sizes[cause])[cause]
        row |= {f"{cause}_value": size.value, f"{cause}_low": size.low, f"{cause}_high": size.high}
    o = case.observations
    idle = o.idle & np.isfinite(o.throttle_pct)
    return row | {
        "error": None,
        "cause": best,
        "probability": told[best],
        "healthy": told["healthy"],
        "unexplained": told["unexplained"],
        "misfit": float(case.posterior.misfit[int(np.argmax(probability[:-1]))]),
        "idle_throttle_pct": float(o.throttle_pct[idle].min()) if idle.any() else None,
        "idle_speed_rpm": float(o.speed_rev_s[o.idle].min() * 60.0) if o.idle.any() else None,
        "seconds": read.seconds,
        "stretches": read.stretches,
        "distance_km": read.distance_km,
        "input_hash": read.input_hash,
    }
