"""Fuel trims further out than any mixture is off, or at an end of their scale: what was made of
them, in words."""

from collections.abc import Iterator, Sequence

import numpy as np

from bellmouth.finding.fuelling import LARGEST_LOG_TRIM, at_an_end
from bellmouth.recording.stretch import Stretch
from bellmouth.recording.trims import BANKS, total_trim_name

__all__ = ["far_trims"]

_TERMS = ("short", "long")


def far_trims(judged: Sequence[Stretch]) -> Iterator[str]:
    """A sentence for each bank with such trims: taken as a bound, or no reading at all."""
    for bank in BANKS:
        used = [one for one in judged if _is_used(one, bank)]
        ended = [_ends(one, bank) for one in used]
        pct = next((one for ends in ended for one in ends), None)
        if pct is not None:
            yield (
                f"A fuel trim of bank {bank} stands at {pct:.0f} %, an end of what it can read, as "
                "of a car that does not know it: the trims of that bank were left out there. Is "
                "the right column read?"
            )
        bounds = [
            one for one, ends in zip(used, ended, strict=True) if not ends and _is_far(one, bank)
        ]
        if bounds:
            log = max((one.value(total_trim_name(bank)) for one in bounds), key=abs)
            least = np.expm1(np.copysign(LARGEST_LOG_TRIM, log)) * 100
            yield (
                f"The total fuel trim of bank {bank} reads {np.expm1(log) * 100:+.0f} %, further "
                f"than an engine runs on: it is taken as a bound ({least:+.0f} %). Are these "
                "columns the fuel trims, and is their unit %?"
            )


def _is_used(one: Stretch, bank: int) -> bool:
    return one.kind != "engine off" and one.closed_loop is not False and bank not in one.open_banks


def _is_far(one: Stretch, bank: int) -> bool:
    return abs(one.value(total_trim_name(bank))) >= LARGEST_LOG_TRIM


def _ends(one: Stretch, bank: int) -> list[float]:
    """What the terms read that stand at an end of their scale. [%]"""
    told = np.array([one.value(f"{term}_term_fuel_trim_bank_{bank}") for term in _TERMS])
    return [float(pct) for pct in told[at_an_end(told)]]
