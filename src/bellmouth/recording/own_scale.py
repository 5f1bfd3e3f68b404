"""Parameters that a car scales otherwise than the standard: the maxima that it answers to 4F and
50 of service 01, which every format of a recording holds as parameters of their own."""

import functools
from collections.abc import Mapping
from dataclasses import replace

from bellmouth.j1979 import parameters
from bellmouth.recording.series import Series

__all__ = ["own_scale", "with_own_steps"]


@functools.cache
def _rescaled() -> Mapping[str, parameters.Parameter]:
    rows = map(parameters.by_name, parameters.names())
    return {row.name: row for row in rows if row.rescaled_by}


def own_scale(series: Mapping[str, Series], name: str) -> float:
    """How many times the standard's range and step a parameter's own are, by the maximum recorded
    beside it; 1 where none was, or it is nothing."""
    row = _rescaled().get(name)
    maximum = series.get(row.rescaled_by or "") if row else None
    if row is None or maximum is None or maximum.value[-1] <= 0:
        return 1.0
    return float(maximum.value[-1]) / row.full_scale


def with_own_steps(series: Mapping[str, Series]) -> dict[str, Series]:
    """The series, those that the car scales in its own way with their step."""
    scales = {name: own_scale(series, name) for name in series}
    return {
        name: one
        if scales[name] == 1.0
        else replace(one, step=_rescaled()[name].resolution * scales[name])
        for name, one in series.items()
    }
