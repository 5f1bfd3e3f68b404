"""Trims that stood at the controller's limit: what says so, and what says that it still regulated.

A trim at its limit is a bound and no value. What stands still and high may be either; whether the
total was ever seen to go further, and whether an oxygen sensor still switches, tells them apart.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bellmouth.recording.nans import told_or
from bellmouth.recording.readings import Statistics, Windows
from bellmouth.recording.series import Floats, Recording, Series

__all__ = ["WIDE_RANGE", "limits", "of_both_banks", "total_limits"]

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
#: What goes further is at no limit there: so much of ln total, in this share of all its samples.
_FURTHER, _OFTEN = 0.014, 0.005
#: A slow term that two readings tell alike has not moved between them. [steps of a reading]
_UNMOVED = 1.2
#: A total that moves as quickly as this, and so many times its error, follows no operating point:
#: it winds up.
_WINDS_UP_PER_S, _SURELY = 0.008, 2.5
# A narrow oxygen sensor below and above these for this share of a stretch. [V]
LEAN_V = 0.3
RICH_V = 0.6
STAYS = 0.95
#: So many of its samples on one side are chance in one of thirty where it switches.
_SEEN = 5
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

Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]


def limits(series: Series, windows: Windows, found: Statistics) -> Ints:
    """-1 or +1 for stretches over which a trim stayed at its lower or upper extreme, else 0."""
    least = LEAST_SHORT_LIMIT if series.name.startswith("short") else LEAST_LONG_LIMIT
    high, low = float(series.value.max()), float(series.value.min())
    result = np.zeros(windows.stretches, dtype=np.intp)
    slack = 0.2 * found.quantum
    for extreme, sign in ((high, 1), (low, -1)):
        if sign * extreme >= least:
            held, count = _held(series, windows, np.abs(series.value - extreme) <= slack)
            result[(held >= 0.9 * np.maximum(count, 1)) & (found.count > 0)] = sign
    return result


def total_limits(
    recording: Recording,
    bank: int,
    terms: Sequence[Series],
    windows: Windows,
    each: Mapping[str, Statistics],
    total: Statistics,
    regulating: Flags,
) -> Ints:
    """-1 or +1 for stretches whose total trim is a bound, else 0.

    It is one where the quick term (the first of ``terms``) sat at its limit, where the sum lay
    still at its extreme or was on its way there, or where an oxygen sensor says throughout that
    the mixture is still lean or rich; never where the engine stood or was known to be in open loop
    (not ``regulating``), nor where a sensor or the total itself shows that the loop could do more.
    """
    found = [each[term.name] for term in terms]
    still = _clamped(found, total, regulating)
    seen = _read_together(terms, found)
    for sign in (1, -1):
        if _goes_further(seen, total, still == sign, sign):
            still[still == sign] = 0
    reached = np.zeros(windows.stretches, dtype=bool)
    for side, at_aim in _mixture(recording, bank, windows, each):
        still = np.where((np.sign(total.mean) == side) & _large(total), side, still)
        reached |= at_aim & regulating
    first = found[0].at_limit
    limit = np.where(regulating, np.where(first != 0, first, still), 0)
    limit = _on_the_way(total, _as_high(total, limit), _lasted_s(windows))
    return np.where(regulating & ~_within_reach(total, reached), limit, 0)


def _lasted_s(windows: Windows) -> Floats:
    """How long the windows of each stretch last in all. [s]"""
    lasted = np.bincount(windows.stretch, windows.end_s - windows.start_s, windows.stretches)
    return np.asarray(lasted, dtype=np.float64)


def of_both_banks(banks: Sequence[Statistics]) -> list[Statistics]:
    """The total trims of an engine's banks, at their limit where the other is that stands as high:
    one controller has one limit."""
    told = []
    for one in banks:
        limit = one.at_limit.copy()
        for other in banks:
            further = np.sign(other.at_limit) * (told_or(0.0, one.mean) - told_or(0.0, other.mean))
            there = (other.at_limit != 0) & (one.count > 0) & (further >= -one.quantum)
            limit[there] = other.at_limit[there]
        told.append(replace(one, at_limit=limit))
    return told


def _clamped(terms: Sequence[Statistics], total: Statistics, regulating: Flags) -> Ints:
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


def _read_together(terms: Sequence[Series], found: Sequence[Statistics]) -> Floats:
    """ln total wherever both terms are known at one time: where the quick one was read, and the
    slow one was alike before and after. It jumps where it is kept apart by operating point."""
    quick, slow = terms[0], terms[-1]
    log = np.log(np.maximum(1 + quick.value / 100, 0.01))
    if len(terms) == 1 or slow.time_s.size < 2:
        return log if len(terms) == 1 else log[:0]
    before = np.searchsorted(slow.time_s, quick.time_s, side="right") - 1
    before = np.clip(before, 0, slow.time_s.size - 2)
    low, high = slow.value[before], slow.value[before + 1]
    unmoved = np.abs(high - low) <= _UNMOVED * found[-1].quantum
    log += np.log(np.maximum(1 + low / 100, 0.01))
    return np.asarray(log[unmoved])


def _goes_further(seen: Floats, total: Statistics, stretches: Flags, sign: int) -> bool:
    """Whether the total was seen further out, between stretches too, than some that lay still."""
    if not stretches.any() or not seen.size:
        return False
    level = float((sign * total.mean[stretches]).max())
    return float(np.mean(sign * seen > level + _FURTHER)) > _OFTEN


def _within_reach(total: Statistics, reached: Flags) -> Flags:
    """Stretches whose total stands no further out than one at which the loop had its aim."""
    found = np.zeros(reached.size, dtype=bool)
    for sign in (1, -1):
        height = sign * told_or(0.0, total.mean)
        if (reached & (height > 0)).any():
            found |= (height > 0) & (height <= float(height[reached].max()) + total.quantum)
    return found


def _as_high(total: Statistics, limit: Ints) -> Ints:
    """The same with stretches whose total may well stand where that of one at its limit does."""
    found = limit.copy()
    for sign in (1, -1):
        if (limit == sign).any():
            least = float((sign * total.mean[limit == sign]).min()) - total.quantum
            found[sign * total.mean + told_or(0.0, total.chance) >= least] = sign
    return found


def _on_the_way(total: Statistics, limit: Ints, lasted_s: Floats) -> Ints:
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


def _large(total: Statistics) -> Flags:
    large: Flags = np.abs(told_or(0.0, total.mean)) >= LEAST_OFF_MIXTURE
    return large


def _mixture(
    recording: Recording, bank: int, windows: Windows, each: Mapping[str, Statistics]
) -> Iterator[tuple[Ints, Flags]]:
    """Where an oxygen sensor says that the trim did not reach its aim (+1 still lean, -1 rich), and
    where it says that it did.

    A narrow sensor of a controller that regulates switches; one that stays on a side does not.
    """
    volts = recording.get(f"oxygen_sensor_voltage_bank_{bank}_sensor_1")
    if volts is not None:
        yield _switching(volts, windows)
    commanded = each.get("commanded_equivalence_ratio")
    for sensor in WIDE_RANGE[bank]:
        found = each.get(sensor)
        if found is not None:
            aim = 1.0 if commanded is None else told_or(1.0, commanded.mean)
            off = np.where(found.count > 0, found.mean - aim, np.nan)
            doubt = 2 * told_or(0.0, found.chance)
            sure = np.abs(told_or(0.0, off)) > OFF_RATIO + doubt
            yield (
                np.where(sure, np.sign(told_or(0.0, off)), 0).astype(np.intp),
                np.abs(told_or(np.inf, off)) + doubt < OFF_RATIO,
            )


def _switching(volts: Series, windows: Windows) -> tuple[Ints, Flags]:
    """The same of a narrow sensor. It is read so seldom that what stays on one side in several
    stretches is counted together."""
    lean, count = _held(volts, windows, volts.value < LEAN_V)
    rich, _ = _held(volts, windows, volts.value > RICH_V)
    side = np.zeros(windows.stretches, dtype=np.intp)
    for held, sign in ((lean, 1), (rich, -1)):
        stays = (count > 0) & (held > STAYS * count)
        if count[stays].sum() >= _SEEN:
            side[stays] = sign
    return side, (lean > 0) & (rich > 0) & (side == 0)


def _held(series: Series, windows: Windows, mask: Flags) -> tuple[Floats, Floats]:
    """How many samples of each stretch the mask holds for, and how many there are."""
    sums = np.concatenate([[0], np.cumsum(mask)])
    low = np.searchsorted(series.time_s, windows.start_s)
    high = np.maximum(np.searchsorted(series.time_s, windows.end_s, side="right"), low)
    held = np.bincount(windows.stretch, sums[high] - sums[low], windows.stretches)
    return held.astype(np.float64), np.bincount(
        windows.stretch, high - low, windows.stretches
    ).astype(np.float64)
