"""How a practice recording comes about: parameters are asked for one after another, coded in
steps, sometimes stale, sometimes lost."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from bellmouth.practice.columns import Floats
from bellmouth.practice.signals import KEY_PARAMETERS, REPORTED, Reporter
from bellmouth.recording.series import Recording, Series

__all__ = ["Polling", "csv_text", "draw_polling", "frame", "poll", "write_csv"]

#: Noise of the signal itself, before coding: standard deviation, absolute or a share.
_NOISE: dict[str, tuple[float, float]] = {
    "mass_air_flow": (0.0, 0.012),
    "intake_manifold_pressure": (0.35, 0.0),
    "throttle_position": (0.06, 0.0),
    "relative_throttle_position": (0.06, 0.0),
    "engine_speed": (1.5, 0.0),
    "control_module_voltage": (0.03, 0.0),
    "boost_pressure": (0.2, 0.0),
}


@dataclass(frozen=True)
class Polling:
    """How one recording was polled.

    ``samples_per_s`` counts all parameters together, ``together`` is how many are answered in
    one row, ``stale_s`` how old a value the controller may hand out, ``lost`` the share of
    answers that never came.
    """

    samples_per_s: float
    together: int
    stale_s: float
    lost: float


def draw_polling(rng: np.random.Generator) -> Polling:
    """Draw how a recording is polled: 3 to 22 samples a second in all."""
    return Polling(
        samples_per_s=float(np.exp(rng.uniform(np.log(3.0), np.log(22.0)))),
        together=int(rng.choice([1, 1, 1, 3, 6])),
        stale_s=float(rng.choice([0.0, 0.0, rng.uniform(0.2, 1.0)])),
        lost=float(rng.choice([0.0, rng.uniform(0.0, 0.08)])),
    )


def _order(reports: tuple[str, ...], length: int) -> list[str]:
    """Which parameter is asked when: key ones every round, the others in turn."""
    key = [n for n in reports if n in KEY_PARAMETERS]
    slow = [n for n in reports if n not in KEY_PARAMETERS]
    order: list[str] = []
    at = 0
    while len(order) < length:
        order += key
        if slow:
            order += [slow[(at + k) % len(slow)] for k in range(min(2, len(slow)))]
            at += 2
    return order[:length]


def _times(
    rng: np.random.Generator, polling: Polling, seconds: float
) -> tuple[Floats, NDArray[np.bool_]]:  # fmt: skip
    """Times at which answers came, one an answer, and which of them came at all. [s]"""
    rows = max(int(seconds * polling.samples_per_s / polling.together), 3)
    step = seconds / rows
    row = (np.arange(rows) + rng.uniform(-0.2, 0.2, rows)) * step
    row = np.round(np.maximum(row - row[0], 0.0), 3)
    times = np.repeat(row, polling.together)
    came = rng.random(len(times)) >= polling.lost
    if polling.lost > 0.0 and rng.random() < 0.3:
        start = rng.uniform(0.1, 0.9) * seconds
        came &= ~((times > start) & (times < start + rng.uniform(1.0, 6.0)))
    return times, came


def _sampled(
    rng: np.random.Generator, name: str, value: Floats, time_s: Floats, asked_s: Floats,
    stale_s: float,
) -> Floats:  # fmt: skip
    seen_s = asked_s if stale_s <= 0.0 else np.floor(asked_s / stale_s) * stale_s
    at = np.clip(np.searchsorted(time_s, seen_s, side="right") - 1, 0, len(time_s) - 1)
    taken = value[at]
    absolute, share = _NOISE.get(name, (0.0, 0.0))
    if absolute or share:
        # A value handed out twice carries its noise twice.
        fresh = np.concatenate([[True], np.diff(seen_s) > 0])
        noise = rng.standard_normal(int(fresh.sum()))[np.cumsum(fresh) - 1]
        still = (name == "engine_speed") & (taken < 1.0)
        taken = taken + np.where(still, 0.0, noise * (absolute + share * np.abs(taken)))
    return REPORTED[name].coded(taken)


def poll(
    rng: np.random.Generator, reporter: Reporter, reports: tuple[str, ...], time_s: Floats,
    seconds: float, polling: Polling, source: str,
) -> Recording:  # fmt: skip
    """Ask a practice car for its parameters over a recording.

    Parameters
    ----------
    reporter, reports
        Where values come from, and which parameters the car answers to.
    time_s, seconds
        Times of the reporter's values, and the length of the recording. [s]
    source
        What the recording calls itself.
    """
    asked, came = _times(rng, polling, seconds)
    order = np.array(_order(reports, len(asked)))
    series: dict[str, Series] = {}
    for name in reports:
        mine = (order == name) & came
        moments = np.unique(asked[mine])
        if len(moments) == 0:
            continue
        value = reporter.value(name)
        coded = _sampled(rng, name, value, time_s, moments, polling.stale_s)
        series[name] = Series(name, REPORTED[name].unit, moments, np.round(coded, 6))
    rate = sum(len(s.time_s) for s in series.values()) / max(seconds, 1e-9)
    return Recording(series, source, samples_per_s=rate)


def frame(recording: Recording) -> pl.DataFrame:
    """The recording as a table in the layout of the recording contract, empty cells null."""
    times = np.unique(np.concatenate([s.time_s for s in recording.series.values()]))
    columns: dict[str, pl.Series] = {"time [s]": pl.Series(times)}
    for series in recording.series.values():
        cells = np.full(len(times), np.nan)
        cells[np.searchsorted(times, series.time_s)] = series.value
        columns[f"{series.name} [{series.unit}]"] = pl.Series(cells).fill_nan(None)
    return pl.DataFrame(columns)


def csv_text(recording: Recording) -> str:
    """The recording as CSV text."""
    return frame(recording).write_csv()


def write_csv(recording: Recording, path: Path | str) -> None:
    """Write the recording as CSV."""
    frame(recording).write_csv(Path(path))
