"""The live practice car's insides: engine, controller, learning logic and battery, tick by tick."""

import math
import zlib
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from bellmouth.practice.identity import identity_of, number_of
from bellmouth.practice.ignition import Controls, Key
from bellmouth.practice.learning_logic import Effects, Learned, LearningLogic
from bellmouth.practice.live_controllers import EngineController
from bellmouth.practice.live_engine import settled
from bellmouth.practice.live_memory import engine_kept, restore_engine
from bellmouth.practice.live_values import LiveValues, Surroundings
from bellmouth.practice.mechanic import Lamp, Seen
from bellmouth.practice.population import Case
from bellmouth.practice.readiness import Facts
from bellmouth.practice.simulate import STEP_S
from bellmouth.practice.trouble import Trouble
from bellmouth.practice.verdicts import Senses, Window

__all__ = ["STEPS_PER_LOOK", "TICKS_PER_STEP", "TICK_S", "LiveBody"]

#: Time step of key, pedal and learning logic; the engine takes every fifth. [s]
TICK_S = 0.005
TICKS_PER_STEP = round(STEP_S / TICK_S)
#: The sitter looks ten times a second.
STEPS_PER_LOOK = 4
_STEPS_PER_WATCH = 20  # codes and monitors are watched twice a second
_FOOT_PCT_PER_TICK = 100.0 * TICK_S / 0.1  # a quick foot goes all the way in a tenth of a second
_FIRES_RPM = 300.0  # what turns more slowly is turned by the starter
_SETTLED_S = 15.0  # after a start, before idle speed means anything


class LiveBody:
    """Everything of the car but the wire, the clock and the person.

    Parameters
    ----------
    case
        The car and its fault.
    store
        Called when the controller writes down what it learned.
    ready
        Whether the monitors are complete when it comes in.
    allowed
        Windows of the learning logic other than the packaged ones.
    """

    def __init__(
        self,
        case: Case,
        store: Callable[[], None],
        *,
        ready: bool,
        allowed: Mapping[str, Window] | None,
    ) -> None:
        self.controls = Controls()
        self.battery_v = 12.6
        self.battery_on = True
        self.engine = settled(case)
        self._around = Surroundings()
        self.values = LiveValues(self.engine, self._around, case.seed)
        self._trouble = Trouble(ready=ready)
        self._banks = int(case.car.banks[0])
        number = number_of(case.variant, case.car)
        self.identity = identity_of("engine", case.variant, number)
        self.gearbox_identity = identity_of("gearbox", case.variant, number)
        sizes = zlib.crc32(repr((case.cause, sorted(case.sizes.items()))).encode())
        # By its seed, as state files from before have it.
        seeded = identity_of("engine", case.variant, case.seed)
        self.mark = f"{seeded.vehicle_number}-{sizes:08x}"
        self.controller = EngineController(
            self.values, self._trouble, self.identity, self._lamp_commanded, self.may_clear,
            self.engine.forget_trims,
        )  # fmt: skip
        engine = self.engine
        effects = Effects(
            engine.learn_idle, self._reset, store, engine.closed_pct, engine.unlearn_idle
        )
        self.learning = LearningLogic(Learned(), effects, allowed)
        self._senses = Senses(coolant_c=self.engine.coolant_c, intake_c=self.engine.intake_c)
        self._started_at_c = self.engine.coolant_c
        self._now_s = 0.0
        #: When the plate was last heard to move by itself. [s]
        self.plate_heard_s = -math.inf
        self._foot_pct = 0.0
        self._come_in()

    def _come_in(self) -> None:
        """Codes that such a car has stored by the time it comes to the workshop."""
        idle = self.engine.settled_idle
        trims = [100.0 * float(np.mean(idle[f"short_{b}"] + idle[f"long_{b}"])) for b in (1, 2)]
        speed = float(np.mean(idle["speed_rpm"]))
        if speed < _FIRES_RPM:
            return  # it did not drive in, so no controller has watched it idle
        facts = Facts(
            running=True, closed_loop=True, coolant_c=90.0, started_at_c=20.0, speed_rpm=speed,
            road_kmh=0.0, pedal_pct=0.0, fuel_level_pct=self._around.fuel_level_pct,
            trims_pct=tuple(trims[: self._banks]),
            idle_error_rpm=speed - float(np.mean(idle["target_rpm"])),
        )  # fmt: skip
        self._around.voltage_v = 14.2
        self.values.show({name: value[-1:] for name, value in idle.items()})
        self._trouble.came_in_with(facts, self.controller.freeze)
        self._around.voltage_v = self.battery_v
        self.values.refresh()

    # Time.

    def tick(self, number: int, now_s: float) -> None:
        """One tick; every fifth moves the engine."""
        self._now_s = now_s
        if self._plate_heard(now_s):
            self.plate_heard_s = now_s
        if not self.battery_on:
            self.controls.key = Key.OFF
        self._move_foot()
        if number % TICKS_PER_STEP == 0:
            self._step(number // TICKS_PER_STEP)
        senses = self._senses
        senses.now_s, senses.key = now_s, self.controls.key
        senses.pedal_pct = self._around.pedal_pct
        self.learning.tick(senses)

    def _move_foot(self) -> None:
        """The foot on its way; while it holds a speed the driver's model moves it."""
        away = self.controls.pedal_pct - self._foot_pct
        self._foot_pct += min(max(away, -_FOOT_PCT_PER_TICK), _FOOT_PCT_PER_TICK)
        self._around.pedal_pct = max(self._foot_pct, self.engine.driven_pct)

    def _step(self, number: int) -> None:
        """One step of the engine, and now and then of what goes slower."""
        engine, controls, around = self.engine, self.controls, self._around
        was = engine.state
        engine.step(controls, self._foot_pct, self.learning.plate_pct(self._now_s))
        if was == "stopped" and engine.state == "cranking":
            self._trouble.begin_trip(engine.coolant_c)
            self._started_at_c = engine.coolant_c
        let_go = was == "cranking" and engine.state == "stopped"  # it would not fire
        if (engine.running or let_go) and controls.key == Key.START:
            controls.key = Key.ON  # the key springs back
        around.load = controls.load
        around.voltage_v = self._voltage_v()
        self._sense()
        if number % _STEPS_PER_WATCH == 0 and engine.running:
            self.values.refresh()
            self._trouble.watch(_STEPS_PER_WATCH * STEP_S, self._facts(), self.controller.freeze)

    def _voltage_v(self) -> float:
        if not self.battery_on:
            return 0.0
        if self.engine.state == "cranking":
            return self.battery_v - 2.2
        if self.engine.running:
            return 14.3 - 0.35 * self.controls.load
        return self.battery_v - 0.4 * self.controls.load

    def _sense(self) -> None:
        engine, senses = self.engine, self._senses
        senses.running, senses.cranking = engine.running, engine.state == "cranking"
        senses.coolant_c = engine.coolant_c
        senses.voltage_v, senses.load = self._around.voltage_v, self.controls.load
        senses.road_kmh = engine.road_kmh
        senses.idle_off_rpm = abs(engine.idle_error_rpm) if engine.running else 0.0
        senses.codes_stored = bool(self._trouble.confirmed)

    def _facts(self) -> Facts:
        engine, around = self.engine, self._around
        idling = (
            around.pedal_pct < 0.5 and engine.road_kmh < 2.0 and engine.since_start_s > _SETTLED_S
        )
        return Facts(
            running=engine.running, closed_loop=self.values.closed_loop,
            coolant_c=engine.coolant_c, started_at_c=self._started_at_c,
            speed_rpm=engine.speed_rpm, road_kmh=engine.road_kmh, pedal_pct=around.pedal_pct,
            fuel_level_pct=around.fuel_level_pct,
            trims_pct=self.values.total_trim_pct()[: self._banks],
            idle_error_rpm=engine.idle_error_rpm if idling else None,
        )  # fmt: skip

    # What it shows.

    @property
    def awake(self) -> bool:
        """Whether the controllers have power."""
        return self.battery_on and self.controls.key >= Key.ON

    def seen(self, now_s: float) -> Seen:
        """What somebody in the driver's seat sees and hears."""
        engine = self.engine
        heard = self._plate_heard(now_s)
        return Seen(self.controls.key, engine.running, engine.speed_rpm, self._lamp(), heard)

    def _plate_heard(self, now_s: float) -> bool:
        return self.learning.plate_pct(now_s) is not None and self.battery_on

    def _lamp(self) -> Lamp:
        """Lit as proof of its bulb with the key on and the engine off; a procedure goes before."""
        if not self.awake:
            return "off"
        if self.learning.lamp is not None:
            return self.learning.lamp
        return "on" if self._trouble.lamp_on or not self.engine.running else "off"

    def _lamp_commanded(self) -> bool:
        """What parameter 01 says: the proof of the bulb is not reported."""
        lit = self.learning.lit(self._now_s)
        return self._trouble.lamp_on if lit is None else lit

    def may_clear(self) -> bool:
        """Codes may be cleared while the engine stands."""
        return self.engine.state == "stopped"

    # What it forgets and keeps.

    def _reset(self) -> None:
        self._trouble.clear()
        self.engine.forget_trims()

    def take_battery_off(self, now_s: float) -> None:
        """No power: all but the permanent codes is forgotten."""
        self.battery_on = False
        self.controls.key = Key.OFF
        self._senses.now_s = now_s
        self.learning.power_lost(self._senses)
        self.engine.forget()
        self._trouble.clear()

    def kept(self) -> dict[str, Any]:
        """What outlives the ignition, as plain values."""
        return {
            "learned": self.learning.learned.kept(),
            "engine": engine_kept(self.engine),
            "trouble": self._trouble.kept(),
        }

    def restore(self, kept: Mapping[str, Any]) -> None:
        """Take over what was kept."""
        self.learning.learned = Learned.restored(kept["learned"])
        restore_engine(self.engine, kept["engine"])
        self._trouble.restore(kept["trouble"])
        self.values.remember_idle()
