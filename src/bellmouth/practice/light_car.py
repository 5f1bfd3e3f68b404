"""A practice car without an engine: key, pedal, starter, lamp and the learning logic.

For practising timed procedures and for thousands of simulated attempts. It is a hundred times
quicker than the live practice car and judged by the same logic. Not imitated: everything else.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bellmouth.practice.ignition import Action, Controls, Key, Schedule
from bellmouth.practice.learning_logic import Effects, Learned, LearningLogic
from bellmouth.practice.mechanic import Lamp, Seen
from bellmouth.practice.verdicts import Senses, Verdict, Window

__all__ = ["LightCar", "Poll"]

#: As in the live practice car. [s]
TICK_S = 0.005
_FOOT_PCT_PER_TICK = 100.0 * TICK_S / 0.1
#: The engine fires after so long on the starter, and idles at this speed. [s], [rpm]
_CRANK_S, _CRANK_RPM, _IDLE_RPM = 0.8, 220.0, 700.0
#: What the pedal's sensor reads at rest and on the floor. [%]
_PEDAL_UP_PCT, _PEDAL_DOWN_PCT = 15.0, 80.0
_LAMP_BIT = 31


@dataclass(frozen=True, slots=True)
class Poll:
    """What one round of polling would give at one moment; None where the bus is silent."""

    at_s: float
    values: Mapping[str, float] | None


class LightCar:
    """Key and pedal on the learning logic.

    Parameters
    ----------
    learned
        What the controller has learned before; by default all that other procedures teach.
    coolant_c, battery_v
        As they stand. [degC], [V]
    allowed
        Windows of the learning logic other than the packaged ones.
    """

    def __init__(
        self,
        *,
        learned: Learned | None = None,
        coolant_c: float = 85.0,
        battery_v: float = 12.6,
        allowed: Mapping[str, Window] | None = None,
    ) -> None:
        self.controls = Controls()
        self.battery_v = battery_v
        effects = Effects(lambda _: None, lambda: None, lambda: None, lambda: 12.0)
        self.learning = LearningLogic(learned or Learned(idle=False), effects, allowed)
        self._senses = Senses(coolant_c=coolant_c, intake_c=30.0, voltage_v=battery_v)
        self._schedule = Schedule()
        self._ticks = 0
        self._foot_pct = 0.0
        self._crank_s: float | None = None
        self._running = False

    # Time and hands.

    @property
    def time_s(self) -> float:
        """Up to when it has been moved on. [s]"""
        return self._ticks * TICK_S

    def do(self, control: str, value: float, at_s: float | None = None) -> None:
        """Move a control, now unless a car time is given. [s]"""
        self._schedule.add(Action(self.time_s if at_s is None else at_s, control, value))

    def follow(self, actions: Sequence[Action]) -> None:
        """Do all of this, each at its own car time."""
        for action in actions:
            self._schedule.add(action)

    def advance(self, to_s: float) -> None:
        """Move on up to a car time, in whole ticks. [s]"""
        until = int(to_s / TICK_S + 1e-6)
        while self._ticks < until:
            self._tick()

    def _tick(self) -> None:
        self._ticks += 1
        now_s = self.time_s
        for action in self._schedule.due(now_s):
            action.apply(self.controls)
        away = self.controls.pedal_pct - self._foot_pct
        if away:
            self._foot_pct += min(max(away, -_FOOT_PCT_PER_TICK), _FOOT_PCT_PER_TICK)
        self._turn_engine(now_s)
        senses = self._senses
        senses.now_s, senses.key, senses.pedal_pct = now_s, self.controls.key, self._foot_pct
        senses.running, senses.cranking = self._running, self._crank_s is not None
        senses.load, senses.road_kmh = self.controls.load, self.controls.road_kmh
        senses.voltage_v = self._voltage_v()
        self.learning.tick(senses)

    def _turn_engine(self, now_s: float) -> None:
        key = self.controls.key
        if key < Key.ON:
            self._running, self._crank_s = False, None
        elif key == Key.START and not self._running:
            self._crank_s = now_s if self._crank_s is None else self._crank_s
            if now_s - self._crank_s >= _CRANK_S:
                self._running, self._crank_s = True, None
                self.controls.key = Key.ON  # the key springs back
        elif key == Key.ON:
            self._crank_s = None

    def _voltage_v(self) -> float:
        if self._crank_s is not None:
            return self.battery_v - 2.2
        return 14.3 if self._running else self.battery_v - 0.4 * self.controls.load

    # What it shows.

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """What the learning logic thought of every go, in order of time."""
        return self.learning.verdicts

    @property
    def speed_rpm(self) -> float:
        """Engine speed; it revs with the pedal. [rpm]"""
        if self._running:
            return _IDLE_RPM + 30.0 * self._foot_pct
        return _CRANK_RPM if self._crank_s is not None else 0.0

    def seen(self) -> Seen:
        """What somebody in the driver's seat sees and hears."""
        heard = self.learning.plate_pct(self.time_s) is not None
        return Seen(self.controls.key, self._running, self.speed_rpm, self._lamp(), heard)

    def _lamp(self) -> Lamp:
        if self.controls.key < Key.ON:
            return "off"
        if self.learning.lamp is not None:
            return self.learning.lamp
        return "off" if self._running else "on"

    def poll(self) -> Poll:
        """What a controller would answer now."""
        if self.controls.key < Key.ON:
            return Poll(self.time_s, None)
        lit = self.learning.lit(self.time_s) or False
        share = 0.01 * self._foot_pct
        pedal = _PEDAL_UP_PCT + share * (_PEDAL_DOWN_PCT - _PEDAL_UP_PCT)
        return Poll(
            self.time_s,
            {
                "accelerator_pedal_position_d": math.floor(pedal * 2.55) / 2.55,
                "engine_speed": self.speed_rpm,
                "monitor_status": float(int(lit) << _LAMP_BIT),
                "control_module_voltage": round(self._senses.voltage_v, 3),
                "engine_coolant_temperature": self._senses.coolant_c,
                "vehicle_speed": self.controls.road_kmh,
            },
        )
