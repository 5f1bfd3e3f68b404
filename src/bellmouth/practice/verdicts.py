"""What the practice car's learning logic senses, the windows it keeps to, and what it thought."""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from math import inf
from typing import Literal, Protocol

from bellmouth.practice.ignition import Key

__all__ = [
    "FULL_PCT",
    "REST_PCT",
    "TOUCH_PCT",
    "Event",
    "Log",
    "Machine",
    "Senses",
    "Verdict",
    "Window",
    "windows",
]

#: The pedal counts as fully pressed from here, as released to here, as touched from here. [%]
FULL_PCT, REST_PCT, TOUCH_PCT = 80.0, 20.0, 5.0

Event = Literal["on", "off", "touch", "press", "release", "start", "running", "stopped"]


@dataclass(frozen=True)
class Window:
    """A time from ``least`` to ``most``, ends included. [s]"""

    least: float
    most: float = inf

    def holds(self, seconds: float) -> bool:
        """Whether a time lies in it."""
        # Times are sums of ticks: a rounding must not decide at the very edge.
        return self.least - 1e-6 <= seconds <= self.most + 1e-6


@cache
def windows() -> Mapping[str, Window]:
    """Every window as ``procedure.step``, from ``learning_windows.toml``."""
    text = resources.files(__package__).joinpath("learning_windows.toml").read_text("utf-8")
    return {
        f"{procedure}.{step}": Window(*(float(end) for end in ends))
        for procedure, steps in tomllib.loads(text).items()
        for step, ends in steps.items()
    }


@dataclass
class Senses:
    """What the controller senses at one tick.

    ``idle_off_rpm`` is how far the idle speed is from its target, either way.
    """

    now_s: float = 0.0
    key: Key = Key.OFF
    pedal_pct: float = 0.0
    running: bool = False
    cranking: bool = False
    coolant_c: float = 20.0
    intake_c: float = 20.0
    voltage_v: float = 12.6
    load: float = 0.0
    road_kmh: float = 0.0
    idle_off_rpm: float = 0.0
    codes_stored: bool = False


@dataclass(frozen=True)
class Verdict:
    """What the controller thought of one go at a procedure.

    Attributes
    ----------
    procedure
        ``memory_reset``, ``idle_air``, ``pedal_released``, ``closed_position``,
        ``idle_relearn`` or ``key_on_adaptation``.
    met
        Whether it took.
    step
        The step that decided: the last one, or the first that failed.
    at_s
        Car time of the decision. [s]
    measured_s, window
        What was measured and what was allowed, where it was a matter of time.
    """

    procedure: str
    met: bool
    step: str
    at_s: float
    measured_s: float | None = None
    window: Window | None = None


@dataclass
class Log:
    """Verdicts in order of time."""

    verdicts: list[Verdict] = field(default_factory=list)

    def met(self, procedure: str, step: str, at_s: float) -> None:
        """It took."""
        self.verdicts.append(Verdict(procedure, True, step, at_s))

    def refused(
        self,
        procedure: str,
        step: str,
        at_s: float,
        measured_s: float | None = None,
        window: Window | None = None,
    ) -> None:
        """It did not take, because of this step."""
        self.verdicts.append(Verdict(procedure, False, step, at_s, measured_s, window))


class Machine(Protocol):
    """One procedure's timed automaton."""

    def on(self, event: Event, s: Senses) -> None:
        """Something happened at this tick."""
        ...

    def tick(self, s: Senses) -> None:
        """Time went on."""
        ...

    def power_lost(self, s: Senses) -> None:
        """The battery was taken off: whatever was not yet written down is lost."""
        ...


#: Called where a procedure has taken.
Effect = Callable[[], None]
