"""Samples that cannot be: dropped, counted and said."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from bellmouth.errors import RecordingError
from bellmouth.recording.names import Parameter, table
from bellmouth.recording.own_scale import own_scale
from bellmouth.recording.series import Recording, Series

__all__ = ["plausible_range", "screen"]

# Tighter than what the standard can express: no road car's petrol engine turns faster. [rpm]
MOST_RPM = 12_000.0

_MOST_LOST = 0.5  # share of a column beyond which the rest is not believed; our choice


def plausible_range(parameter: Parameter, scale: float = 1.0) -> tuple[float, float]:
    """What the standard can express, or ``scale`` times that, half a step wider; engine speed up to
    12,000 rpm."""
    if parameter.name == "engine_speed":
        return 0.0, MOST_RPM
    margin = 0.5 * parameter.resolution
    return scale * (parameter.least - margin), scale * (parameter.most + margin)


def screen(recording: Recording, titles: Mapping[str, str]) -> Recording:
    """The recording without samples outside the plausible range, and without a parameter of which
    most are.

    Raises
    ------
    RecordingError
        Where every sample of a parameter is outside, or most are of every parameter there is.
    """
    kept: dict[str, Series] = {}
    dropped: dict[str, int] = {}
    notes = list(recording.notes)
    for name, series in recording.series.items():
        # Where a car's own range is less, one that does not heed it may have written the file.
        scale = max(own_scale(recording.series, name), 1.0)
        low, high = plausible_range(table()[name], scale)
        if series.value.min() >= low and series.value.max() <= high:
            kept[name] = series
            continue
        good = (series.value >= low) & (series.value <= high)
        least, most = (scale * end for end in (table()[name].least, table()[name].most))
        extent = f"{least:g} to {min(high, most):g} {series.unit}"
        if not good.any():
            raise RecordingError(
                f'{recording.source}, column "{titles[name]}": every value is outside what is '
                f"possible ({extent}; first {series.value[0]:g}). Check the unit and the column."
            )
        dropped[name] = int(np.count_nonzero(~good))
        if dropped[name] > _MOST_LOST * good.size:
            notes.append(
                f'Column "{titles[name]}": {dropped[name]} of {good.size} samples are outside '
                f"{extent}, so that the others are not believed either. Is its unit right?"
            )
            continue
        kept[name] = replace(series, time_s=series.time_s[good], value=series.value[good])
        lost = "1 sample" if dropped[name] == 1 else f"{dropped[name]} samples"
        notes.append(f'Column "{titles[name]}": {lost} outside {extent} left out.')
    if not dropped:
        return recording
    if not kept:
        raise RecordingError(f"{recording.source}: {notes[-1]}")
    return replace(recording, series=kept, notes=tuple(notes), dropped=dropped)
