"""What state the engine was in over a stretch: warm, in closed loop, purging."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from bellmouth.j1979.codes import CLOSED_LOOP
from bellmouth.recording.grid import STEP_S, WARM_C, Bools
from bellmouth.recording.medians import mean
from bellmouth.recording.series import Floats, Recording
from bellmouth.recording.stretch import Reading

__all__ = ["closed_loop", "purging", "warm"]

# A thermostat that never closes holds less, but holds it. [degC], [degC/s], [s]
TEPID_C = 50.0
STABLE_C_S = 1.0 / 60
STABLE_AFTER_S = 300.0
STANDS_RPM = 1.0  # slower than any starter turns an engine: common practice, no source


def warm(recording: Recording, values: Mapping[str, Reading], start_s: float) -> bool | None:
    """Whether the coolant was warm, or had come to rest; None where it is not reported."""
    coolant = values.get("engine_coolant_temperature")
    if coolant is None:
        series = recording.get("engine_coolant_temperature")
        if series is None:
            return None
        return bool(np.interp(start_s, series.time_s, series.value) >= WARM_C)
    if coolant.value >= WARM_C:
        return True
    run_time = values.get("time_since_engine_start")
    running_s = start_s if run_time is None else run_time.value
    at_rest = abs(coolant.drift_per_s) < STABLE_C_S and running_s > STABLE_AFTER_S
    return coolant.value >= TEPID_C and at_rest


def closed_loop(recording: Recording, pieces: Sequence[tuple[int, int]]) -> bool | None:
    """Whether at least four fifths of the stretch ran in closed loop; None where untold.

    Where the controller does not say, a short trim that has stood at nothing since the engine
    started and only moves later says that it had not begun.
    """
    share = _share(recording, "fuel_system_status", pieces, lambda v: np.isin(v, CLOSED_LOOP))
    if share is None:
        return False if _not_begun(recording, pieces) else None
    return share >= 0.8


def _not_begun(recording: Recording, pieces: Sequence[tuple[int, int]]) -> bool:
    short, speed = recording.get("short_term_fuel_trim_bank_1"), recording.get("engine_speed")
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
