"""Fuel trims that were left out or taken as a bound, in words."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.fuelling import LARGEST_LOG_TRIM, at_an_end
from bellmouth.finding.observations import Observations
from bellmouth.recording.series import Recording
from bellmouth.recording.stretch import Stretch
from bellmouth.recording.trims import BANKS, total_trim_name

__all__ = ["trims_said"]

_TERMS = ("short", "long")


def trims_said(
    recording: Recording,
    judged: Sequence[Stretch],
    observations: Observations,
    chosen: NDArray[np.bool_],
) -> Iterator[str]:
    """A sentence for all that was made of a recording's trims; ``chosen`` are its points, or those
    of several of one car as it is."""
    halves = tuple(_half_trims(recording))
    yield from halves
    yield from _far_trims(judged)
    log_trim, limit = observations.log_trim[chosen], observations.trim_limit[chosen]
    if not halves and not np.isfinite(log_trim).any():
        yield _no_trims(recording)
    if ((np.abs(log_trim) < LARGEST_LOG_TRIM) & (limit != 0)).any():
        yield "A fuel trim sits at its limit: there it is taken as a bound, not as a value."


def _half_trims(recording: Recording) -> Iterator[str]:
    """Banks whose short trim was recorded and whose long one, most of the total, was not."""
    for bank in BANKS:
        short, long = (
            recording.get(f"{term}_term_fuel_trim_bank_{bank}") for term in ("short", "long")
        )
        if short is not None and long is None:
            yield (
                f"Only the short fuel trim of bank {bank} was recorded: what lasts is in the long "
                "one, so that the short one says nothing and was left out. Record both."
            )


def _no_trims(recording: Recording) -> str:
    if any("_fuel_trim_" in name for name in recording.series):
        return (
            "No fuel trims that can be used: a leak shows only in airflow, pressure and throttle."
        )
    return "No fuel trims: a leak shows only in airflow, pressure and throttle."


def _far_trims(judged: Sequence[Stretch]) -> Iterator[str]:
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
