"""What the trims say of the fuel: both banks' total, its error, and where it sits at a limit."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.columns import Columns
from bellmouth.finding.priors import load_priors
from bellmouth.physics import fuel
from bellmouth.recording.clamps import WIDE_RANGE
from bellmouth.recording.nans import told_or
from bellmouth.recording.trims import BANKS, total_trim_name

__all__ = ["LARGEST_LOG_TRIM", "at_an_end", "fuelling"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Of ln total trim: no mixture that an engine idles on is further off. What reads further is a
#: bound. Ours.
LARGEST_LOG_TRIM = 0.9
# A term at an end of its scale (-100 or 99.2 %) is no reading: a car that does not know it may
# answer so, and no controller trims that far. Ours.
_ENDS_PCT = (-99.9, 99.1)
_TRIM_NAMES = tuple(total_trim_name(bank) for bank in BANKS)


def fuelling(
    column: Columns, metered: Floats, metered_error: Floats, recording: NDArray[np.int64]
) -> dict[str, Any]:
    """The trims of both banks, their errors, and where they sit at a limit."""
    trim, error, limit = _trims(column, metered, metered_error, recording)
    # In open loop the trims stand still: they say nothing about the air.
    trim[np.stack([column.open_loop(bank) for bank in BANKS], axis=1)] = np.nan
    return {
        "log_trim": trim,
        "trim_error": error,
        "trim_limit": np.where(np.isfinite(trim), limit, 0.0),
        "trim_gap": np.stack([_gap(column, bank) for bank in BANKS], axis=1),
    }


def _gap(column: Columns, bank: int) -> Floats:
    """Log of 1 + short + long over (1 + short)(1 + long); 0 where only one is reported."""
    short, long = (
        column.value(f"{term}_term_fuel_trim_bank_{bank}") / 100 for term in ("short", "long")
    )
    product = np.maximum((1 + short) * (1 + long), 0.2)
    gap = told_or(0.0, np.log(np.maximum(1.0 - short * long / product, 0.2)))
    # What is a bound anyhow is none the better for it.
    return np.where(np.abs(column.value(total_trim_name(bank))) < LARGEST_LOG_TRIM, gap, 0.0)


def _trims(
    column: Columns, metered: Floats, metered_error: Floats, recording: NDArray[np.int64]
) -> tuple[Floats, Floats, Floats]:
    """Log total trim by bank. What a wide-range sensor still reads beyond the command is added:
    a clamped trim leaves the mixture off by just what it lacks."""
    trim = np.stack([column.value(name) for name in _TRIM_NAMES], axis=1)
    error = np.stack([column.error(name) for name in _TRIM_NAMES], axis=1)
    limit = np.stack([column.limit(name) for name in _TRIM_NAMES], axis=1)
    short, long = (_recorded(column, term, recording) for term in ("short", "long"))
    # What lasts is in the long trim, so that a short one alone says nothing of the total.
    far = np.abs(trim) >= LARGEST_LOG_TRIM
    trim = np.where(_at_an_end(column) | (short & ~long), np.nan, trim)
    limit = np.where(np.isfinite(trim), np.where(far, np.sign(trim), limit), 0.0)
    trim = np.clip(trim, -LARGEST_LOG_TRIM, LARGEST_LOG_TRIM)
    unseen = load_priors().fuel["short_unseen_log"]
    error = np.where(long & ~short, np.hypot(error, unseen), error)
    if not np.isfinite(trim).any():
        trim[:, 0], error[:, 0] = _trim_from_fuel_rate(column, metered, metered_error, recording)
    for place, bank in enumerate(BANKS):
        mixture = _mixture_left(column, bank)
        if mixture is None:
            continue
        left, left_error = mixture
        seen = np.isfinite(left) & (np.abs(left) > 3 * left_error) & ~far[:, place]
        trim[:, place] += np.where(seen, left, 0.0)
        error[:, place] = np.where(seen, np.hypot(error[:, place], left_error), error[:, place])
        limit[:, place] = np.where(seen, 0.0, limit[:, place])
    return trim, error, limit


def at_an_end(pct: Floats) -> Bools:
    """Whether trims stand at an end of what their readings can express; NaN does not."""
    low, high = _ENDS_PCT
    ended: Bools = (pct < low) | (pct > high)
    return ended


def _at_an_end(column: Columns) -> Bools:
    """Whether one of a bank's trims does, (points, banks)."""
    short, long = (
        np.stack([column.value(f"{term}_term_fuel_trim_bank_{bank}") for bank in BANKS], axis=1)
        for term in ("short", "long")
    )
    return at_an_end(short) | at_an_end(long)


def _recorded(column: Columns, term: str, recording: NDArray[np.int64]) -> Bools:
    """Whether a bank's short or long trim stands anywhere in the recording of a point,
    (points, banks)."""
    there = [np.isfinite(column.value(f"{term}_term_fuel_trim_bank_{bank}")) for bank in BANKS]
    return np.stack([np.isin(recording, recording[one]) for one in there], axis=1)


def _mixture_left(column: Columns, bank: int) -> tuple[Floats, Floats] | None:
    """Log of what a bank's wide-range sensor reads over the command; None where none reads."""
    for name in WIDE_RANGE[bank]:
        ratio = column.value(name)
        if np.isfinite(ratio).any():
            command = column.value("commanded_equivalence_ratio")
            command = np.where(command > 0.5, command, 1.0)
            good = (ratio > 0.6) & (ratio < 1.8)
            log = np.where(good, np.log(np.where(good, ratio / command, 1.0)), np.nan)
            return log, np.hypot(column.error(name), 0.01)
    return None


def _blend(column: Columns, recording: NDArray[np.int64]) -> Floats:
    """Share of ethanol by volume at each point, of its recording where it was not read there."""
    told = column.value("ethanol_percentage") / 100.0
    told = np.where((told >= 0) & (told <= 1), told, np.nan)
    usual = load_priors().fuel["usual_ethanol"]
    for number in np.unique(recording):
        mine = recording == number
        known = mine & np.isfinite(told)
        told[mine & ~known] = told[known].mean() if known.any() else usual
    return told


def _trim_from_fuel_rate(
    column: Columns, metered: Floats, metered_error: Floats, recording: NDArray[np.int64]
) -> tuple[Floats, Floats]:
    """Fuel that the controller says it used over what the metered air asks for, of the blend that
    the car reports; where it reports none, of little ethanol."""
    rate = column.value("engine_fuel_rate")
    rate = np.where(rate > 0, rate, np.nan)
    blend = _blend(column, recording)
    fuel_kg_s = rate * fuel.blend_density_kg_m3(blend) / 3.6e6
    log = np.log(fuel_kg_s * fuel.blend_ratio(blend) / metered)
    relative = column.error("engine_fuel_rate") / rate
    rate_sd = load_priors().fuel["rate_log_sd"]
    return log, np.sqrt(relative**2 + metered_error**2 + rate_sd**2)
