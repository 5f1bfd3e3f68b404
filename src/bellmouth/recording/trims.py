"""Fuel trims over stretches: both terms as one number."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bellmouth.recording.clamps import total_limits
from bellmouth.recording.medians import median
from bellmouth.recording.nans import told_or
from bellmouth.recording.quantum import quantum
from bellmouth.recording.readings import Statistics, Windows
from bellmouth.recording.series import Recording, Series
from bellmouth.recording.stretch import BANKS, Reading, Stretch

__all__ = [
    "BANKS",
    "driven_as_high",
    "is_trim",
    "log_total_trim",
    "total_trim_name",
    "total_trim_series",
]

# A step of a trim's reading, 1/128 in the standard, as a logarithm.
_STEP_LOG = 0.008


def is_trim(name: str) -> bool:
    """Whether a parameter follows the operating point through the oxygen sensors, late."""
    return "_trim_bank" in name or "oxygen" in name or "equivalence_ratio" in name


def total_trim_name(bank: int) -> str:
    """What a bank's total trim is called among a stretch's readings."""
    return f"log_total_trim_bank_{bank}"


def log_total_trim(
    recording: Recording,
    bank: int,
    sum_: Series,
    windows: Windows,
    each: Mapping[str, Statistics],
    regulating: NDArray[np.bool_],
) -> Statistics:
    """ln((1 + short/100)(1 + long/100)) over each stretch, from the statistics of its series.

    The two were brought onto common times first: what one gives up the other takes over, and
    their sum is steadier than either. Rounding errors of the two add. ``at_limit`` is set where
    it is a bound, see `clamps.total_limits`; never where the engine stood or was known to be in
    open loop (not ``regulating``).
    """
    terms = _terms(recording, bank)
    total = each[sum_.name]
    rounding2 = np.zeros(windows.stretches)
    empty = np.zeros(windows.stretches, dtype=bool)
    for term in terms:
        own = each[term.name]
        # Without a sample of its own in the stretch a term is only known by interpolation.
        empty |= own.count == 0
        rounding2 += (own.rounding / np.maximum(100 + told_or(0.0, own.mean), 1.0)) ** 2
    step = max(each[term.name].quantum for term in terms) / 100
    told = replace(
        total,
        count=np.where(empty, 0, total.count),
        rounding=np.sqrt(rounding2),
        quantum=step,
    )
    limit = total_limits(recording, bank, terms, windows, each, told, regulating)
    return replace(told, at_limit=limit)


def _terms(recording: Recording, bank: int) -> list[Series]:
    names = [f"{term}_term_fuel_trim_bank_{bank}" for term in ("short", "long")]
    return [recording.series[name] for name in names if name in recording]


def total_trim_series(recording: Recording, bank: int) -> Series | None:
    """ln((1 + short/100)(1 + long/100)) at the times of both; None where neither is reported."""
    terms = _terms(recording, bank)
    if not terms:
        return None
    time = terms[0].time_s
    if len(terms) == 2:
        time = np.union1d(time, terms[1].time_s)
    value = np.zeros(time.size)
    for term in terms:
        ratio = np.maximum(1 + term.value / 100, 0.01)
        value += np.log(np.interp(time, term.time_s, ratio))
    # What lies between readings is no finer than they are.
    step = float(np.hypot.reduce([quantum(term) for term in terms])) / 100
    return Series(total_trim_name(bank), "ln", time, value, step)


def driven_as_high(driven: Sequence[Stretch], steady: Sequence[Stretch]) -> list[Stretch]:
    """The points of a drive, too short to tell a limit themselves: a total trim that stands where
    those of the recording's steady stretches are at their limit is there too."""
    names = [total_trim_name(bank) for bank in BANKS]
    # A cold engine is never compared with a warm one.
    told = [
        one.readings[name]
        for one in steady
        if one.warm is not False
        for name in names
        if name in one.readings
    ]
    least = {}
    for sign in (-1, 1):
        clamped = [sign * reading.value for reading in told if reading.at_limit == sign]
        if clamped:
            # Those on the way to the limit stand lower.
            least[sign] = median(clamped) - _STEP_LOG
    if not least:
        return list(driven)
    return [replace(point, readings=_raised(point.readings, names, least)) for point in driven]


def _raised(
    readings: Mapping[str, Reading], names: Sequence[str], least: Mapping[int, float]
) -> Mapping[str, Reading]:
    """Readings of a point with ``at_limit`` at those named that stand ``least`` high, by sign."""
    found = dict(readings)
    for name in names:
        for sign, height in least.items():
            if name in found and sign * found[name].value >= height:
                found[name] = found[name]._replace(at_limit=sign)
    return found
