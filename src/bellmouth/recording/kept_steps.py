"""How finely readings are known that were averaged, or that a car scales its own way, as a file's
metadata tell it: the values alone show a mean's steps, which are finer."""

import json
import math
from collections.abc import Mapping
from dataclasses import replace

from bellmouth.recording.series import Series

__all__ = ["steps_in", "steps_text", "with_kept_steps"]

_KEY = "bellmouth-steps"
_OPENS = '{"' + _KEY + '":'


def steps_text(series: Mapping[str, Series]) -> str:
    """Each known step in its reading's unit, as one piece of plain text; empty without any."""
    steps = {name: one.step for name, one in series.items() if one.step is not None}
    return json.dumps({_KEY: steps}, separators=(",", ":")) if steps else ""


def steps_in(text: str) -> dict[str, float]:
    """What a file's metadata tell of steps, whatever stands around it."""
    at = text.find(_OPENS)
    if at < 0:
        return {}
    try:
        told = json.JSONDecoder().raw_decode(text, at)[0][_KEY]
        return {str(name): step for name, step in told.items() if _is_step(step)}
    except (ValueError, LookupError, AttributeError, RecursionError):
        return {}  # damaged, or somebody else's


def _is_step(step: object) -> bool:
    return isinstance(step, float) and math.isfinite(step) and step > 0


def with_kept_steps(series: Mapping[str, Series], steps: Mapping[str, float]) -> dict[str, Series]:
    """The series with what is told of their steps; none becomes finer by it than it shows."""
    return {
        name: one
        if (step := steps.get(name)) is None
        else replace(one, step=max(step, one.step or 0.0))
        for name, one in series.items()
    }
