"""What state the engine was in over a stretch: warm, in closed loop, purging."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from bellmouth.j1979.codes import CLOSED_LOOP
from bellmouth.recording.grid import STEP_S, WARM_C, Bools
from bellmouth.recording.medians import mean, median
from bellmouth.recording.series import Floats, Recording
from bellmouth.recording.stretch import BANKS, Reading

__all__ = ["UNPLUGGED_C", "is_unplugged", "loops", "purging", "warm"]

# What a temperature sensor reads that is unplugged, or less. Common practice, no source. [degC]
UNPLUGGED_C = -39.0
_COOLANT = "engine_coolant_temperature"

# A thermostat that never closes holds less, but holds it. [degC], [degC/s], [s]
TEPID_C = 50.0
STABLE_C_S = 1.0 / 60
STABLE_AFTER_S = 300.0
_SECOND_STATUS = "fuel_system_status_bank_2"
STANDS_RPM = 1.0  # slower than any starter turns an engine: common practice, no source


def is_unplugged(recording: Recording) -> bool:
    """Whether the coolant's sensor tells nothing: most of what it reads is the end of its scale."""
    coolant = recording.get(_COOLANT)
    return coolant is not None and median(coolant.value) <= UNPLUGGED_C


def warm(recording: Recording, values: Mapping[str, Reading], start_s: float) -> bool | None:
    """Whether the coolant was warm, or had come to rest; None where it is not reported."""
    coolant = values.get(_COOLANT)
    if coolant is None:
        series = recording.get(_COOLANT)
        if series is None:
            return None
        return bool(np.interp(start_s, series.time_s, series.value) >= WARM_C)
    if coolant.value >= WARM_C:
        return True
    run_time = values.get("time_since_engine_start")
    running_s = start_s if run_time is None else run_time.value
    at_rest = abs(coolant.drift_per_s) < STABLE_C_S and running_s > STABLE_AFTER_S
    return coolant.value >= TEPID_C and at_rest


def loops(
    recording: Recording, pieces: Sequence[tuple[int, int]]
) -> tuple[bool | None, tuple[int, ...]]:
    """Whether at least four fifths of the stretch ran in closed loop, on any bank, None where
    untold; and the banks that are known not to have.

    Where the controller does not say, a short trim that has stood at nothing since the engine
    started and only moves later says that it had not begun.
    """
    trimmed = [bank for bank in BANKS if _trimmed(recording, bank)] or [1]
    closed = {bank: _closed(recording, bank, pieces) for bank in trimmed}
    told = set(closed.values())
    whole = True if True in told else None if None in told else False
    return whole, tuple(bank for bank, one in closed.items() if one is False)


def _trimmed(recording: Recording, bank: int) -> bool:
    return any(f"{term}_term_fuel_trim_bank_{bank}" in recording for term in ("short", "long"))


def _closed(recording: Recording, bank: int, pieces: Sequence[tuple[int, int]]) -> bool | None:
    """Whether one bank ran in closed loop over the stretch."""
    name = "fuel_system_status"
    second = recording.get(_SECOND_STATUS)
    # Where there is no second fuel system its status is nothing throughout: one is for all banks.
    if bank == 2 and second is not None and second.value.any():
        name = _SECOND_STATUS
    share = _share(recording, name, pieces, lambda v: np.isin(v, CLOSED_LOOP))
    if share is None:
        return False if _not_begun(recording, bank, pieces) else None
    return share >= 0.8


def _not_begun(recording: Recording, bank: int, pieces: Sequence[tuple[int, int]]) -> bool:
    short = recording.get(f"short_term_fuel_trim_bank_{bank}")
    speed = recording.get("engine_speed")
    if short is None or speed is None:
        return False
    begin_s = min(first for first, _ in pieces) * STEP_S
    stood_s = speed.time_s[(speed.time_s < begin_s) & (speed.value < STANDS_RPM)]
    if not len(stood_s):
        return False
    moved_s = short.time_s[(short.time_s > stood_s[-1]) & (short.value != 0.0)]
    end_s = max(stop for _, stop in pieces) * STEP_S
    return len(moved_s) > 0 and end_s <= float(moved_s[0]) + STEP_S


def purging(recording: Recording, pieces: Sequence[tuple[int, int]]) -> float | None:
    """Share of the stretch with purge commanded; None where it is not reported."""
    return _share(recording, "commanded_evaporative_purge", pieces, lambda v: v > 0.5)


def _share(
    recording: Recording,
    name: str,
    pieces: Sequence[tuple[int, int]],
    flag: Callable[[Floats], Bools],
) -> float | None:
    series = recording.get(name)
    if series is None:
        return None
    total = seconds = 0.0
    for first, stop in pieces:
        low, high = np.searchsorted(series.time_s, (first * STEP_S, stop * STEP_S))
        # The last reading before the piece still holds at its beginning.
        value = series.value[max(int(low) - 1, 0) : max(int(high), int(low), 1)]
        total += mean(flag(value)) * (stop - first)
        seconds += stop - first
    return total / seconds if seconds else None
