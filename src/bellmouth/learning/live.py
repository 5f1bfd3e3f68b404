"""Reading a car while it happens: samples one by one become actions and events.

The same signs as the judge's, known without the rest of the recording: the pedal leaves its rest
and goes down, the bus falls silent, the engine turns, the lamp blinks.
"""

import math
from dataclasses import dataclass

from bellmouth.learning.coach import Sink
from bellmouth.learning.consistency import SHORTEST_PRESS_S
from bellmouth.learning.evidence import RUNS_RPM, TURNS_RPM, Moment
from bellmouth.learning.ignition import BLIP_S, QUIET_S, WAKE_S
from bellmouth.learning.lamp import LAMP_BIT
from bellmouth.learning.pedal import HELD_S

__all__ = ["PEDALS", "LiveReader"]

#: Parameters that show the pedal, best first, and the least travel that is a press. [points]
PEDALS = {
    "accelerator_pedal_position_d": 40.0,
    "relative_accelerator_pedal_position": 40.0,
    "accelerator_pedal_position_e": 18.0,
    "accelerator_pedal_position_f": 18.0,
}
#: The pedal counts as up below this share of its travel.
_UP = 0.2
#: Changes of the lamp closer than this are blinking, so many of them. [s]
_BLINK_S, _CHANGES = 1.4, 3
#: Without a change for so many times its longest half period, and so long at least, it is steady.
_STEADY_HALVES, _STEADY_S = 1.5, 0.4


@dataclass
class _Lamp:
    """The lamp as last seen; ``since`` is when its state began."""

    lit: bool | None = None
    seen_s: float = -math.inf
    since: Moment = Moment(-math.inf, -math.inf)  # noqa: RUF009 - frozen
    changes: int = 0
    half_s: float = 0.0
    blinking: bool = False


class LiveReader:
    """Turns samples into what the coach is told. One clock, times ascending.

    Parameters
    ----------
    sink
        Is told actions, events and readings.
    interval_s
        How often the pedal is asked for, about. [s]
    """

    def __init__(self, sink: Sink, interval_s: float = 0.1) -> None:
        self._sink = sink
        self._interval_s = interval_s
        self._awake: bool | None = None
        self._heard_s = self._asked_s = -math.inf
        self._woke: Moment | None = None
        self._rest = math.inf
        self._floor = -math.inf
        self._down = False
        self._pedal_s = -math.inf
        self._up_s = self._down_s = self._pressed_s = -math.inf
        self._lifted: Moment | None = None
        self._turns = self._runs = False
        self._changed: Moment | None = None  # what one reading alone says of the engine
        self._speed_s = -math.inf
        self._lamp = _Lamp()
        self._spell = Moment(-math.inf, -math.inf)

    def sample(self, name: str, value: float, at_s: float) -> None:
        """One value of one parameter, in its own unit. [s]"""
        self._woken(at_s)
        if name in PEDALS:
            self._pedal(value, at_s, PEDALS[name])
        elif name == "monitor_status":
            self._see_lamp(lit=bool(int(value) >> LAMP_BIT & 1), at_s=at_s)
        elif name == "engine_speed":
            self._engine(value, at_s)
        self._sink.reading(name, value, at_s)

    def woke(self, low_s: float, high_s: float) -> None:
        """Whoever asks knows that a silent car woke between these; told before its sample. [s]"""
        self._woke = Moment(low_s, high_s)

    def told_until(self, at_s: float) -> None:
        """Samples of one round are all in. [s]"""
        self._sink.seen_until(min(self._pedal_s, self._speed_s, at_s))

    def silent(self, at_s: float) -> None:
        """Nobody answered what was asked at this time. [s]"""
        self._asked_s = at_s
        if self._awake is None and math.isinf(self._heard_s):
            self._awake = False
            self._sink.acted("key_off", Moment(-math.inf, at_s))
        elif self._awake and at_s - self._heard_s > QUIET_S:
            self._let_go()
            self._awake = False
            self._lamp = _Lamp()
            self._down = False
            self._turns = self._runs = False
            self._changed = None
            last_s = self._heard_s
            self._sink.acted("key_off", Moment(last_s, last_s + self._interval_s))
        if not self._awake:
            # Whatever is done with the key off cannot be seen, and nothing asks for it.
            self._sink.seen_until(at_s - QUIET_S)

    def _woken(self, at_s: float) -> None:
        if self._awake is not True:
            # What was asked just before, and not answered, was asked while the key was off.
            woke = self._woke or Moment(self._asked_s, at_s)
            low_s = woke.low_s - WAKE_S if self._awake is False else -math.inf
            self._awake = True
            self._sink.acted("key_on", Moment(low_s, woke.high_s))
            self._pedal_s = self._speed_s = self._up_s = at_s - self._interval_s
        self._heard_s = at_s
        self._woke = None

    def _pedal(self, value: float, at_s: float, travel: float) -> None:
        self._rest = min(self._rest, value)
        self._floor = max(self._floor, value, self._rest + travel)
        if value <= self._rest + _UP * (self._floor - self._rest):
            self._up(at_s)
            if self._lifted is not None:
                return  # what is not certain yet has not been seen
        elif value >= self._rest + travel:
            self._lifted = None
            if not self._down:
                self._down, self._pressed_s = True, at_s
                self._sink.acted("press", Moment(self._up_s, at_s))
            self._down_s = at_s
        self._pedal_s = at_s

    def _up(self, at_s: float) -> None:
        """The pedal reads up. Held until now, one such reading alone may be no foot: where the next
        can come sooner than any foot, it is waited for.
        """
        if self._down and self._lifted is None:
            self._lifted = Moment(self._down_s, at_s)
            held = self._down_s - self._pressed_s > HELD_S
            if held and 2.0 * (at_s - self._down_s) < SHORTEST_PRESS_S:
                return
        self._let_go()
        self._up_s = at_s

    def _let_go(self) -> None:
        """The pedal was let go, if it has been seen up at all."""
        lifted, self._lifted = self._lifted, None
        if lifted is not None:
            self._down = False
            self._sink.acted("release", lifted)

    def _engine(self, value: float, at_s: float) -> None:
        turns, runs = value >= TURNS_RPM, value >= RUNS_RPM
        changes = turns != self._turns
        # One reading alone is no engine that turned, nor one that stood, where the next comes soon.
        soon = 2.0 * (at_s - self._speed_s) < BLIP_S
        if changes and self._changed is None and soon:
            self._changed = Moment(self._speed_s, at_s)
            return
        moment = self._changed or Moment(self._speed_s, at_s)
        self._changed = None
        if turns and not self._turns:
            self._sink.acted("engine_start", moment)
        if runs and not self._runs:
            self._sink.acted("engine_runs", Moment(self._speed_s, at_s))
        self._turns, self._runs = turns, runs
        self._speed_s = at_s

    def _see_lamp(self, *, lit: bool, at_s: float) -> None:
        lamp = self._lamp
        if lamp.lit is None:
            lamp.lit, lamp.since = lit, Moment(at_s, at_s)
        elif lit != lamp.lit:
            quick = at_s - lamp.since.high_s < _BLINK_S
            lamp.changes = lamp.changes + 1 if quick else 1
            first = Moment(lamp.seen_s, at_s)
            if lamp.changes == 1:
                self._spell, lamp.half_s = first, 0.0
            else:
                lamp.half_s = max(lamp.half_s, at_s - lamp.since.low_s)
            lamp.lit, lamp.since = lit, first
            if lamp.changes == _CHANGES and not lamp.blinking:
                lamp.blinking = True
                self._sink.mark("lamp_blinks", self._spell)
        elif lamp.changes and at_s - lamp.since.high_s > self._still_s():
            event = "lamp_steady" if lamp.blinking else "lamp_on"
            self._sink.mark(event if lit else "lamp_off", lamp.since)
            lamp.changes, lamp.blinking = 0, False
        lamp.seen_s = at_s

    def _still_s(self) -> float:
        """Without a change for so long, the lamp no longer blinks. [s]"""
        lamp = self._lamp
        if not lamp.blinking:
            return _BLINK_S
        return max(_STEADY_HALVES * lamp.half_s, _STEADY_S)
