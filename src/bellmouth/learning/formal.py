"""The same windows as formulae of signal temporal logic, for whoever wants to check the judge.

Each window bounds a clock at an event, so it reads *always, when the step ends, its clock lies in
the window*. The signals are the clocks of the timed automaton of ``docs/procedures.md``:
``clock_S`` is the time since step S began, ``ends_S`` is 1 at the sample in which the next action
is first seen and 0 elsewhere. The robustness of such a formula is the margin in seconds.
"""

import math
from dataclasses import dataclass

from bellmouth.learning.procedure import Procedure, Window

__all__ = ["Formula", "formulae"]

#: Robustness of a premise that does not hold: larger than any margin. [s]
_NOT_NOW = 1e6


@dataclass(frozen=True, slots=True)
class Formula:
    """One window as text in signal temporal logic, and the signals that it speaks of."""

    step: str
    text: str
    signals: tuple[str, str]
    window: Window


def formulae(procedure: Procedure) -> tuple[Formula, ...]:
    """The windows of a procedure: each ``lasts_s``, ``after_s`` and ``within_s``."""
    found = []
    for step in procedure.steps:
        windows = [step.after_s, step.lasts_s]
        if step.do == "pump":
            windows.append(Window(0.0, step.within_s))
        found += [_formula(step.name, window) for window in windows if window is not None]
    return tuple(found)


def _formula(step: str, window: Window) -> Formula:
    clock, ends = f"clock_{step}", f"ends_{step}"
    limits = []
    if window.least_s > 0:
        limits.append(f"({clock} >= {window.least_s:g})")
    if math.isfinite(window.most_s):
        limits.append(f"({clock} <= {window.most_s:g})")
    # Scaled, so that a premise that does not hold never decides the robustness.
    text = f"always(({ends} * {_NOT_NOW:g} <= {0.5 * _NOT_NOW:g}) or ({' and '.join(limits)}))"
    return Formula(step, text, (clock, ends), window)
