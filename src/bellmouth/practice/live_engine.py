"""One practice engine in real time: the simulation of many, run for one, with a key."""

import copy
import functools
import math
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from bellmouth.practice.columns import Floats
from bellmouth.practice.controller import Metering
from bellmouth.practice.driver import Driver, DriverOutput
from bellmouth.practice.engine import Flows
from bellmouth.practice.ignition import Controls, Key
from bellmouth.practice.population import VARIANTS, Case
from bellmouth.practice.simulate import STEP_S, _Run

__all__ = ["FULL_PEDAL_DEG", "LiveEngine", "settled"]

#: Opening that a pedal pressed fully asks for. [deg]
FULL_PEDAL_DEG = 78.0
_ONE, _NONE = np.ones(1), np.zeros(1)
_CAUGHT_RPM = 400.0  # the starter is let go
_STALLED_RPM = 180.0
_CRANKED_S = 6.0  # a starter turns no longer than that
_COOLING_S = 5400.0
#: An idle that moves by so much in five seconds has not come down yet; so often it is waited for.
#: [rpm]
_COMES_DOWN_RPM, _WAITS = 30.0, 6
#: Of its target: all that is higher is the same to feedback, which must not stall an overrun; of
#: idle air a second that learning takes away for each whole target beyond it.
_FAR_OVER, _CLOSES_PER_S = 0.12, 0.4
#: Of the opening that is remembered from before a cleaning. A guess.
_TAKEN_BACK = 0.4


class _Foot(Driver):
    """A foot on the pedal itself, beside the batch driver's held engine and road speeds."""

    pedal_pct = 0.0
    driven_pct = 0.0

    def step(
        self, dt_s: float, held_rpm: Floats, road_kmh: Floats, speed_rpm: Floats, noise: Floats
    ) -> DriverOutput:
        """As :meth:`Driver.step`; a pressed pedal in a standing car goes before."""
        still = held_rpm[0] <= 0 and road_kmh[0] <= 0 and self.road_kmh[0] <= 0
        if still and self.pedal_pct <= 0.0 and self.driven_pct <= 0.0:
            return DriverOutput(_NONE, speed_rpm, _NONE)  # the foot rests: nothing to work out
        out = super().step(dt_s, held_rpm, road_kmh, speed_rpm, noise)
        self.driven_pct = float(out.pedal_deg[0]) / FULL_PEDAL_DEG * 100.0
        if self.pedal_pct <= 0.0:
            return out
        pedal = np.array([self.pedal_pct / 100.0 * FULL_PEDAL_DEG])
        return DriverOutput(np.maximum(pedal, out.pedal_deg), out.pull_rpm, out.pull_per_s)


class _AirflowMetering(Metering):
    """Metering by an airflow meter, without the other kind that the batch works out beside it."""

    def _computed(self) -> Floats:
        return self.reading_g_s


class _KeyedRun(_Run):
    """A starter turns an engine that does not fire only where the key turns the starter."""

    starter = False

    def _ignite(
        self, spark: Floats, load: Floats, foot: DriverOutput, key: Floats,
        running: NDArray[np.bool_],
    ) -> None:  # fmt: skip
        super()._ignite(spark, load, foot, key, running)
        if not self.starter and self.crank.torque_nm[0] > 0.0:
            self.crank = replace(self.crank, torque_nm=_NONE)


class LiveEngine:
    """Engine, controller loops and plate of one car, stepped by 25 ms.

    While the engine stands, only plate, manifold and coolant move: a step then costs a few
    microseconds instead of about a millisecond.

    Attributes
    ----------
    state
        ``stopped``, ``cranking`` or ``running``.
    driven_pct
        Where holding a speed or driving has the pedal. [%]
    """

    def __init__(self, case: Case) -> None:
        self.case = case
        variant = VARIANTS.index(case.variant)
        self.run = _KeyedRun(
            case.car, case.fault, case.weather, case.variant, [(case.seed, variant, case.number, 9)]
        )
        habits = np.random.default_rng([case.seed, variant, 11]).random((1, 6))
        self._foot = _Foot(case.car, habits)
        self.run.driver = self._foot
        if case.car.airflow_metered[0] > 0:
            self.run.metering = _AirflowMetering(case.car, case.fault, self.run.engine)
        self.run.settle()
        self.settled_idle = self._idled()
        self.state: Literal["stopped", "cranking", "running"] = "stopped"
        self.driven_pct = 0.0
        self._pedal_pct = 0.0
        self.relearn_s = 0.0
        self._before: tuple[Floats, Floats, Floats, Floats | float] | None = None
        row = case.car.row(0)
        self._rest_deg = row["idle_opening_deg"] + row["rest_above_idle_deg"]
        self._pressure_factor = row["pressure_gain"] * float(np.exp(case.fault.pressure_log[0]))
        self._pressure_offset_kpa = row["pressure_offset_kpa"]
        self._ambient_kpa = float(case.weather.barometric_kpa[0])
        self._ambient_c = float(case.weather.ambient_c[0])
        self._opening_deg = self._rest_deg
        self._coolant_c = float(case.weather.coolant_c[0])
        self._stop()
        self.speed_rpm, self._pressure_kpa = 0.0, self._ambient_kpa

    def _idled(self) -> dict[str, Floats]:
        """Ten seconds of warm idle, as the owner drove in: channels over time, every half."""
        warm = self.run.engine.coolant_c.copy()
        self.run.engine.coolant_c = np.maximum(warm, 88.0)
        idled = self._ten_seconds()
        for _ in range(_WAITS):
            half = len(idled["speed_rpm"]) // 2
            first, last = idled["speed_rpm"][:half], idled["speed_rpm"][half:]
            if abs(float(np.mean(last) - np.mean(first))) < _COMES_DOWN_RPM:
                break
            idled = self._ten_seconds()
        self.run.engine.coolant_c = warm
        return idled

    def _ten_seconds(self) -> dict[str, Floats]:
        rows = []
        for step in range(round(10.0 / STEP_S)):
            self.run.step(_NONE, _NONE, _NONE, _NONE, _ONE)
            if step % 20 == 0:
                rows.append(self.run.look())
        return {name: np.concatenate([row[name] for row in rows]) for name in rows[0]}

    @property
    def coolant_c(self) -> float:
        """Coolant temperature. [degC]"""
        return self._coolant_c

    @property
    def road_kmh(self) -> float:
        """Road speed. [km/h]"""
        return float(self.run.driver.road_kmh[0])

    @property
    def running(self) -> bool:
        """Whether it fires by itself."""
        return self.state == "running"

    @property
    def intake_c(self) -> float:
        """Intake air temperature. [degC]"""
        return float(self.run.engine.intake_k[0]) - 273.15

    @property
    def since_start_s(self) -> float:
        """Time since it was started. [s]"""
        return float(self.run.since_start_s[0]) if self.running else 0.0

    @property
    def idle_error_rpm(self) -> float:
        """Speed over idle target. [rpm]"""
        return self.speed_rpm - float(self.run.target[0])

    def take_over(self, case: Case) -> None:
        """The same car with another fault from now on: somebody worked on it."""
        run = self.run
        cleaned = case.fault.deposit_mm2[0] < run.fault.deposit_mm2[0]
        self.case = case
        run.fault = run.engine.fault = run.metering.fault = case.fault
        if cleaned:
            # What is remembered is now too wide open, and feedback takes back a part of it only.
            idle = run.idle
            # In degrees: learning itself counts in degrees, shares or logarithms, by variant.
            surplus = idle.remembered_deg() - run.car.idle_opening_deg
            idle.down_deg = _TAKEN_BACK * np.maximum(surplus, 0.0)
            idle.integral = -idle.down_deg

    def closed_pct(self) -> float:
        """What the throttle reads at its stop. [%]"""
        return self.case.car.row(0)["closed_reading_pct"]

    def step(self, controls: Controls, pedal_pct: float, plate_pct: float | None = None) -> None:
        """Move on by 25 ms.

        Parameters
        ----------
        controls
            Key, loads, held and road speed.
        pedal_pct
            Where the foot has the pedal at this instant. [%]
        plate_pct
            Where the controller moves the plate of a standing engine by itself. [%]
        """
        self._turn_key(controls)
        if self.state == "stopped":
            self._stand(controls, pedal_pct, plate_pct)
        else:
            self._go(controls, pedal_pct)

    def _turn_key(self, controls: Controls) -> None:
        if self.state != "stopped" and controls.key < Key.ON:
            self._stop()
        elif self.state == "stopped" and controls.key == Key.START:
            self._crank()
        elif self.state == "cranking":
            self._cranked_s += STEP_S
            if self.speed_rpm > _CAUGHT_RPM:
                self.state = "running"
            elif controls.key != Key.START or self._cranked_s > _CRANKED_S:
                self._stop()
        elif self.state == "running" and self.speed_rpm < _STALLED_RPM:
            self._stop()

    def _crank(self) -> None:
        """From standing to turning, as the batch begins recordings with the engine off."""
        run, engine = self.run, self.run.engine
        engine.speed_rpm = np.array([self.speed_rpm])
        engine.pressure_kpa = np.array([self._pressure_kpa])
        engine.opening_deg = np.array([self._opening_deg])
        engine.coolant_c = np.array([self._coolant_c])
        run.since_start_s = np.zeros(1)
        run.idle.integral = np.minimum(run.idle.integral, 0.0)
        run.cut = np.zeros(1, dtype=bool)
        self.state, self._cranked_s = "cranking", 0.0

    def _stop(self) -> None:
        engine = self.run.engine
        self.state = "stopped"
        self._cranked_s = 0.0
        self.speed_rpm = float(engine.speed_rpm[0])
        self._pressure_kpa = float(engine.pressure_kpa[0])
        self._opening_deg = float(engine.opening_deg[0])
        self._coolant_c = float(engine.coolant_c[0])
        self._stale = True

    def _go(self, controls: Controls, pedal_pct: float) -> None:
        self._foot.pedal_pct = pedal_pct
        self.run.starter = self.state == "cranking"
        self._learn_quickly()
        self.run.step(
            np.array([controls.hold_rpm]), np.array([controls.road_kmh]),
            np.array([controls.load]), _NONE, _ONE,
        )  # fmt: skip
        self.speed_rpm = float(self.run.engine.speed_rpm[0])
        self._coolant_c = float(self.run.engine.coolant_c[0])
        self.driven_pct = self._foot.driven_pct

    def _learn_quickly(self) -> None:
        """While idle learning is armed, what idle needs is learned in seconds, not minutes."""
        if self.relearn_s > 0.0:
            self.relearn_s -= STEP_S
            if self.relearn_s <= 0.0:
                self.run.idle.learn_s = 90.0
            elif self.running:
                self._close_quickly()

    def _close_quickly(self) -> None:
        """Beyond what feedback tells apart, learning closes the more the higher the idle is."""
        idle = self.run.idle
        beyond = self.speed_rpm / float(self.run.target[0]) - 1.0 - _FAR_OVER
        if beyond > 0.0:
            closer = idle.integral - STEP_S * _CLOSES_PER_S * beyond * idle.unit_deg
            idle.integral = np.maximum(closer, -idle.down_deg)

    def learn_idle(self, seconds: float) -> None:
        """Let idle control learn anew for so long, with all of its authority. [s]"""
        idle = self.run.idle
        self._before = (idle.learned, idle.integral, idle.down_deg, idle.learn_s)
        most = idle.remembered_deg() - self.run.car.floor_deg
        idle.down_deg = np.maximum(0.5 * idle.unit_deg, most)
        idle.learn_s = 2.0
        self.relearn_s = seconds

    def unlearn_idle(self) -> None:
        """Go back to what idle control knew before :meth:`learn_idle`: it did not take."""
        if self._before is not None:
            idle = self.run.idle
            idle.learned, idle.integral, idle.down_deg, idle.learn_s = self._before
            self._before, self.relearn_s = None, 0.0

    def forget(self) -> None:
        """Power was lost: idle learning and trims are back at the maker's values."""
        idle, fuel = self.run.idle, self.run.fuel
        idle.learned = np.full(1, idle.learned_neutral)
        idle.integral = np.zeros(1)
        idle.learn_s = 4000.0
        fuel.cells *= 0.0
        fuel.short *= 0.0

    def forget_trims(self) -> None:
        """Codes were cleared: the trims begin at zero, as on most cars."""
        self.run.fuel.forget(np.zeros(1))

    def _stand(self, controls: Controls, pedal_pct: float, plate_pct: float | None) -> None:
        """The engine runs down and stands; with the key on the plate follows the pedal."""
        self.speed_rpm *= math.exp(-STEP_S / 0.25)
        if self.speed_rpm < 30.0:
            self.speed_rpm = 0.0
        share = STEP_S / (0.4 + STEP_S)
        self._pressure_kpa += (self._ambient_kpa - self._pressure_kpa) * share
        self._pedal_pct, self.driven_pct = pedal_pct, 0.0
        pressed = pedal_pct / 100.0 * FULL_PEDAL_DEG if controls.key >= Key.ON else 0.0
        wanted = min(self._rest_deg + pressed, 82.0)
        if plate_pct is not None:
            wanted = plate_pct / 100.0 * 82.0
        self._commanded_deg = wanted
        self._opening_deg += (wanted - self._opening_deg) * (STEP_S / (0.05 + STEP_S))
        self._coolant_c += (self._ambient_c - self._coolant_c) * (STEP_S / _COOLING_S)
        self.run.driver.road_kmh = _NONE
        self._stale = True

    _commanded_deg = 0.0

    def look(self) -> dict[str, Floats]:
        """The channels of this instant, arrays of one element, named as in the batch."""
        if self.state == "stopped" and self._stale:
            self._show_standing()
        return self.run.look()

    def _show_standing(self) -> None:
        """Write the standing engine's state where the channels are read from."""
        run, engine = self.run, self.run.engine
        engine.speed_rpm = np.array([self.speed_rpm])
        engine.pressure_kpa = np.array([self._pressure_kpa])
        engine.opening_deg = np.array([self._opening_deg])
        engine.coolant_c = np.array([self._coolant_c])
        engine.flows = Flows(_NONE, _NONE, _NONE, _NONE)
        engine.boost_kpa = engine.ambient_kpa.copy()
        run.metering.reading_g_s = _NONE
        sensed = self._pressure_factor * self._pressure_kpa + self._pressure_offset_kpa
        run.metering.sensed_kpa = np.array([sensed])
        run.metered, run.since_start_s = _NONE, _NONE
        run.commanded_deg = np.array([self._commanded_deg])
        run.closed = np.zeros(1, dtype=bool)
        run.fuel.short = np.zeros((2, 1))
        run.fuel.injected = np.zeros((2, 1))
        run.spark_deg = _NONE
        run.foot = DriverOutput(np.array([self._pedal_pct / 100.0 * FULL_PEDAL_DEG]), _NONE, _NONE)
        self._stale = False


@functools.lru_cache(maxsize=16)
def _settled(key: "_Same") -> LiveEngine:
    return LiveEngine(key.case)


class _Same:
    """A case as a key: equal where everything drawn is equal."""

    def __init__(self, case: Case) -> None:
        self.case = case
        parts = [case.variant, case.seed, case.number, case.cause, sorted(case.sizes.items())]
        rows = [sorted(part.row(0).items()) for part in (case.car, case.fault, case.weather)]
        self._mark = repr((parts, rows))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self._mark == other._mark

    def __hash__(self) -> int:
        return hash(self._mark)


def settled(case: Case) -> LiveEngine:
    """An engine that has settled and stands with the key off; making it twice costs once.

    Settling takes about two seconds of computing, so settled engines are kept and copied.
    """
    return copy.deepcopy(_settled(_Same(case)))
