"""One recording of a survey as one row: the finding's figures, or why there is none."""

import hashlib
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import polars as pl

from bellmouth import __version__
from bellmouth.car.description import Car
from bellmouth.finding.causes import SINGLE_CAUSES
from bellmouth.finding.find import hypothesis_weights, solve
from bellmouth.finding.priors import cause_weights
from bellmouth.finding.sizes import sizes_of
from bellmouth.fleet.inputs import Found, explain
from bellmouth.recording import read_recording
from bellmouth.recording.steady import stretches

__all__ = ["SCHEMA", "refusal", "row_of"]

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


def refusal(recording: str, mark: str, car: str | None, family: str, why: str) -> dict[str, Any]:
    """The row of a recording without a finding, or of a car without a recording."""
    return {
        **dict.fromkeys(SCHEMA),
        "recording": recording,
        "mark": mark,
        "car": car,
        "family": family,
        "error": why,
        "software": __version__,
    }


def row_of(found: Found, identity: str, family: str, car: Car) -> dict[str, Any]:
    """Read, judge, tell: one row, whatever happens. The car's complaint sets the prior."""
    try:
        return _judged(found, identity, family, car)
    except Exception as error:  # noqa: BLE001 - a damaged recording is a row, never a stop
        return refusal(found.path, found.mark, identity, family, explain(error))


def _judged(found: Found, identity: str, family: str, car: Car) -> dict[str, Any]:
    with TemporaryDirectory() as folder:
        path = _local(found.path, Path(folder))
        recording = read_recording(path)
        raw = hashlib.sha256(path.read_bytes()).hexdigest()
    steady = stretches(recording)
    case = solve(steady, (), car, recording.source)
    weights = hypothesis_weights(cause_weights(car.complaint or "unknown"), case.hypotheses)
    names = (*case.hypotheses.names, "unexplained")
    logs = np.append(case.posterior.log_evidence, case.posterior.log_unexplained)
    with np.errstate(divide="ignore"):
        logs = logs + np.log([weights[name] for name in names])
    probability = np.exp(logs - np.logaddexp.reduce(logs))
    told = dict(zip(names, map(float, probability), strict=True))
    best = max(told, key=lambda name: told[name])
    row = refusal(found.path, found.mark, identity, family, "")
    sizes = sizes_of(case)
    for cause in SINGLE_CAUSES:
        if cause not in told:
            continue
        row[f"present_{cause}"] = sum(p for name, p in told.items() if cause in name.split("+"))
        size = (sizes[best] if cause in sizes.get(best, {}) else sizes[cause])[cause]
        row |= {f"{cause}_value": size.value, f"{cause}_low": size.low, f"{cause}_high": size.high}
    o = case.observations
    idle = o.idle & np.isfinite(o.throttle_pct)
    distance = recording.get("odometer")
    ends = [float(series.time_s[-1]) for series in recording.series.values()]
    return row | {
        "error": None,
        "cause": best,
        "probability": told[best],
        "healthy": told["healthy"],
        "unexplained": told["unexplained"],
        "misfit": float(case.posterior.misfit[int(np.argmax(probability[:-1]))]),
        "idle_throttle_pct": float(o.throttle_pct[idle].min()) if idle.any() else None,
        "idle_speed_rpm": float(o.speed_rev_s[o.idle].min() * 60.0) if o.idle.any() else None,
        "seconds": max(ends),
        "stretches": len(steady),
        "distance_km": float(distance.value[-1]) if distance is not None else None,
        "input_hash": raw,
    }


def _local(path: str, folder: Path) -> Path:
    """The file itself, or a copy of it where it lies at an address."""
    if "://" not in path:
        return Path(path)
    import fsspec  # noqa: PLC0415 - only addresses need it

    copy = folder / path.rsplit("/", 1)[-1]
    with fsspec.open(path, "rb") as there, copy.open("wb") as here:
        while block := there.read(1 << 20):
            here.write(block)
    return copy
