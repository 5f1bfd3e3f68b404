"""Purge that nobody reports: at one operating point the trim stands apart while it lasts.

The canister's valve lets in air and vapour past the meter and the throttle. An engine held at one
speed then draws less through both, and the trim answers to what the vapour holds.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bellmouth.recording.stretch import BANKS, Stretch

__all__ = ["with_unreported_purge"]

Floats = NDArray[np.float64]

# Stretches within 3 % of a speed are at one operating point. [ln]
_ALIKE = 0.03
# At one operating point of a healthy car total trims differ by .015 rms (24 idle recordings of one
# car); three times that and their own errors is something else. [ln]
_APART = 0.05
# Less air through the meter than this is no scatter. [ln]
_LESS_AIR = 0.02
_AIR = ("mass_air_flow", "throttle_position", "calculated_load")


def with_unreported_purge(found: Sequence[Stretch]) -> list[Stretch]:
    """The stretches, with ``purging`` 1 where the trim stands apart from others at its speed.

    Of three or more it is whichever is far from their middle; of two, the one that draws less air.
    Stretches whose purge is reported are left alone, and so are drives.
    """
    trims = np.array([_trim(one) for one in found])
    speeds = np.array([one.value("engine_speed") for one in found])
    marked = list(found)
    for i, one in enumerate(found):
        if np.isnan(trims[i]) or one.purging is not None:
            continue
        alike = [
            j
            for j, other in enumerate(found)
            if other.kind == one.kind
            and np.isfinite(trims[j])
            and abs(np.log(speeds[j] / speeds[i])) < _ALIKE
        ]
        if _stands_apart(i, alike, trims, found):
            marked[i] = replace(one, purging=1.0)
    return marked


def _trim(one: Stretch) -> float:
    """Mean total trim of the banks [ln]; NaN where the loop is open, the engine cold, the trim at
    its limit or the car on the road."""
    if one.kind not in ("idle", "held") or one.warm is False or one.closed_loop is False:
        return float("nan")
    told = [
        one.readings[name]
        for bank, name in _NAMES.items()
        if name in one.readings and bank not in one.open_banks
    ]
    if not told or any(reading.at_limit for reading in told):
        return float("nan")
    return float(np.mean([reading.value for reading in told]))


_NAMES = {bank: f"log_total_trim_bank_{bank}" for bank in BANKS}


def _stands_apart(i: int, alike: Sequence[int], trims: Floats, found: Sequence[Stretch]) -> bool:
    others = [j for j in alike if j != i]
    if len(others) >= 2:
        return bool(abs(trims[i] - np.median(trims[list(alike)])) > _APART)
    return any(
        abs(trims[i] - trims[j]) > _APART and _draws_less(found[i], found[j]) for j in others
    )


def _draws_less(one: Stretch, other: Stretch) -> bool:
    """Whether one draws less air than the other, by the first reading that both have."""
    for name in _AIR:
        here, there = one.value(name), other.value(name)
        if here > 0 and there > 0:
            # A plate's reading has an offset, so that a little less of it is much less air.
            return bool(np.log(there / here) > (_LESS_AIR if name == _AIR[0] else 0.004))
    return False
