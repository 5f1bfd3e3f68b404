"""Fuel trims over stretches: total trim as one number, and trims that sat at their limit."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bellmouth.recording.medians import median
from bellmouth.recording.nans import told_or
from bellmouth.recording.readings import Statistics, Windows
from bellmouth.recording.series import Floats, Recording, Series
from bellmouth.recording.stretch import Reading, Stretch

__all__ = [
    "BANKS",
    "WIDE_RANGE",
    "driven_as_high",
    "is_trim",
    "limits",
    "log_total_trim",
    "total_trim_name",
    "total_trim_series",
]

BANKS = (1, 2)
# A trim that does not move counts as clamped from here on. Controllers clamp the quick term at
# 15 to 30 % and the sum at 25 to 50 %: common practice, no source. [%]
LEAST_SHORT_LIMIT = 12.0
LEAST_LONG_LIMIT = 18.0
# The same for a total that lies still, and for ln of one that a sensor contradicts.
LEAST_SUM_LIMIT = 0.18
LEAST_OFF_MIXTURE = 0.10
#: A clamped total scatters by its terms' rounding alone, and most of what stands as high does.
#: A regulating one wanders by a step or more, and seldom less by chance. Set on the practice cars
#: A to C, as what follows. [steps of a reading], shares
_STILL, _ONE_HEIGHT, _MOSTLY = 0.5, 1.2, 0.6
_FEWEST, _FIXED = 4, 0.1  # samples, steps
#: A total that moves as quickly as this, and so many times its error, follows no operating point:
#: it winds up.
_WINDS_UP_PER_S, _SURELY = 0.008, 2.5
# A step of a trim's reading, 1/128 in the standard, as a logarithm.
_STEP_LOG = 0.008
# A narrow oxygen sensor below and above these for this share of a stretch. [V]
LEAN_V = 0.3
RICH_V = 0.6
STAYS = 0.95
# A wide-range sensor this far from what is commanded. [ratio]
OFF_RATIO = 0.025
# The wide-range sensors before the catalyst (numbered through, four to a bank).
WIDE_RANGE = {
    bank: tuple(
        f"wide_range_sensor_{number}_equivalence_ratio_with_{kind}"
        for kind in ("current", "voltage")
    )
    for bank, number in ((1, 1), (2, 5))
}


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
    the quick term sat at its limit, where the sum lay still at its extreme, stands as high as that
    or was on its way there, or where an oxygen sensor says throughout that the mixture is still
    lean or rich; never where
    the engine stood or was known to be in open loop (not ``regulating``).
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
    clamped = _clamped(
        [each[term.name] for term in terms], replace(total, quantum=step), regulating
    )
    for evidence in _mixture(recording, bank, windows, each):
        clamped = np.where((np.sign(total.mean) == evidence) & _large(total), evidence, clamped)
    first = each[terms[0].name].at_limit
    told = replace(
        total,
        count=np.where(empty, 0, total.count),
        rounding=np.sqrt(rounding2),
        quantum=step,
    )
    limit = np.where(regulating, np.where(first != 0, first, clamped), 0)
    limit = _on_the_way(told, _as_high(told, limit), _lasted_s(windows))
    return replace(told, at_limit=np.where(regulating, limit, 0))


def _lasted_s(windows: Windows) -> Floats:
    """How long the windows of each stretch last in all. [s]"""
    lasted = np.bincount(windows.stretch, windows.end_s - windows.start_s, windows.stretches)
    return np.asarray(lasted, dtype=np.float64)


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
    return Series(total_trim_name(bank), "ln", time, value)


def _clamped(
    terms: Sequence[Statistics], total: Statistics, regulating: NDArray[np.bool_]
) -> NDArray[np.intp]:
    """Where the sum of both terms stood at a clamp: it lay still as high as it ever stands, in most
    of what stands there.

    Short and long trade off against each other under a clamp. Whether that holds their sum or
    their product nobody tells: what stands at one height either way is taken for it.
    """
    step = total.quantum
    still = total.scatter * np.exp(total.mean / 2) <= _STILL * step
    if len(terms) == 2:
        # The slow term is read so seldom that it may spoil a sum of which the quick never moves.
        quick = terms[0]
        still |= (quick.scatter <= _FIXED * quick.quantum) & (quick.count >= _FEWEST)
    known = regulating & np.isfinite(sum(term.mean for term in terms))
    count = np.where(known, total.count, 0)
    result = np.zeros(count.size, dtype=np.intp)
    for product_or_sum in (np.expm1(total.mean), sum(term.mean for term in terms) / 100):
        for sign in (1, -1):
            height = np.where(count >= _FEWEST, sign * product_or_sum, -np.inf)
            top = float(np.max(height, where=still, initial=-np.inf))
            level = height >= top - _ONE_HEIGHT * step
            if top < LEAST_SUM_LIMIT or height.max() > top + _ONE_HEIGHT * step:
                continue
            if count[level & still].sum() >= _MOSTLY * count[level].sum():
                result[level] = sign
    return result


def _as_high(total: Statistics, limit: NDArray[np.intp]) -> NDArray[np.intp]:
    """The same with stretches whose total may well stand where that of one at its limit does."""
    found = limit.copy()
    for sign in (1, -1):
        if (limit == sign).any():
            least = float((sign * total.mean[limit == sign]).min()) - total.quantum
            found[sign * total.mean + told_or(0.0, total.chance) >= least] = sign
    return found


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


def _on_the_way(total: Statistics, limit: NDArray[np.intp], lasted_s: Floats) -> NDArray[np.intp]:
    """The same with stretches whose total still wound up towards a limit that others stood at, or
    back from it: there is further to go than it shows."""
    found = limit.copy()
    # Standard error of a straight line's slope through that many samples worth counting.
    chance = total.scatter * np.sqrt(12.0 / np.maximum(total.independent, 1.0)) / lasted_s
    speed = np.abs(told_or(0.0, total.drift_per_s))
    going = (speed >= _WINDS_UP_PER_S) & (speed >= _SURELY * told_or(np.inf, chance))
    for sign in (1, -1):
        if (limit == sign).any():
            found[going & (sign * total.mean > 0) & (limit == 0)] = sign
    return found


def _large(total: Statistics) -> NDArray[np.bool_]:
    large: NDArray[np.bool_] = np.abs(told_or(0.0, total.mean)) >= LEAST_OFF_MIXTURE
    return large


def _mixture(
    recording: Recording, bank: int, windows: Windows, each: Mapping[str, Statistics]
) -> Iterator[NDArray[np.intp]]:
    """Where an oxygen sensor says that the trim did not reach its aim: +1 still lean, -1 rich.

    A narrow sensor of a controller that regulates switches; one that stays on a side does not.
    """
    volts = recording.get(f"oxygen_sensor_voltage_bank_{bank}_sensor_1")
    if volts is not None:
        low = _share(volts, windows, volts.value < LEAN_V) > STAYS
        high = _share(volts, windows, volts.value > RICH_V) > STAYS
        yield low.astype(np.intp) - high.astype(np.intp)
    commanded = each.get("commanded_equivalence_ratio")
    for sensor in WIDE_RANGE[bank]:
        found = each.get(sensor)
        if found is not None:
            aim = 1.0 if commanded is None else told_or(1.0, commanded.mean)
            off = told_or(1.0, found.mean) - aim
            sure = np.abs(off) > OFF_RATIO + 2 * told_or(0.0, found.chance)
            yield np.where(sure, np.sign(off), 0).astype(np.intp)


def limits(series: Series, windows: Windows, found: Statistics) -> NDArray[np.intp]:
    """-1 or +1 for stretches over which a trim stayed at its lower or upper extreme, else 0."""
    least = LEAST_SHORT_LIMIT if series.name.startswith("short") else LEAST_LONG_LIMIT
    high, low = float(series.value.max()), float(series.value.min())
    result = np.zeros(windows.stretches, dtype=np.intp)
    slack = 0.2 * found.quantum
    for extreme, sign in ((high, 1), (low, -1)):
        if sign * extreme >= least:
            share = _share(series, windows, np.abs(series.value - extreme) <= slack)
            result[(share >= 0.9) & (found.count > 0)] = sign
    return result


def _share(series: Series, windows: Windows, mask: NDArray[np.bool_]) -> Floats:
    """Share of each stretch's samples that the mask holds for."""
    sums = np.concatenate([[0], np.cumsum(mask)])
    low = np.searchsorted(series.time_s, windows.start_s)
    high = np.maximum(np.searchsorted(series.time_s, windows.end_s, side="right"), low)
    held = np.bincount(windows.stretch, sums[high] - sums[low], windows.stretches)
    count = np.bincount(windows.stretch, high - low, windows.stretches)
    return held / np.maximum(count, 1)
