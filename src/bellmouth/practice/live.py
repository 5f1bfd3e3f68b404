"""The live practice car: an engine, its controllers and its ignition, in real time or faster.

It is what a wire serves (:class:`bellmouth.practice.answering.Answering`): each request is
answered from the simulated engine as it is at that instant. Nothing runs by itself; the car is
moved on to the present whenever somebody asks, or by :meth:`PracticeCar.keep_up` in a thread.

Not imitated: pulsation and single cylinders, knock, the bus's own traffic beside diagnosis, gear
changes other than a plain automatic's, and any real car's codes, limits or software.
"""

import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from bellmouth.car.description import Car
from bellmouth.car.reader import read_car
from bellmouth.errors import BellmouthError, CarError
from bellmouth.practice.answering import Node
from bellmouth.practice.ignition import Action, Controls, Schedule
from bellmouth.practice.learning_logic import Learned
from bellmouth.practice.live_body import STEPS_PER_LOOK, TICK_S, TICKS_PER_STEP, LiveBody
from bellmouth.practice.live_case import Sizes, car_toml, choose_case, truth_of
from bellmouth.practice.live_controllers import GearboxController
from bellmouth.practice.live_memory import not_kept, read_state, write_state
from bellmouth.practice.mechanic import Lamp, Mechanic, Seen, Sitter
from bellmouth.practice.mending import mended
from bellmouth.practice.scenario import Truth, _complaint
from bellmouth.practice.services import ControllerNode, Manners
from bellmouth.practice.verdicts import Verdict, Window

__all__ = ["PracticeCar"]

_ENGINE, _GEARBOX = 0x10, 0x18
_BITE_S = 0.05  # car time moved on in one go by the thread that keeps up


class PracticeCar:
    """A car to talk to.

    Parameters
    ----------
    fault
        ``healthy``, a cause, or a pair joined with ``+``.
    size
        In the finding's unit (leak mm, deposit mm2, stale learning g/s, else a ratio); for a
        pair one size each, or by cause. None takes a typical one.
    seed
        The same arguments give the same car and, asked at the same car times, the same answers.
    car
        Description of the car, or its file: displacement, metering, banks, cylinders, idle
        speed are taken over from it.
    variant
        ``A`` to ``E``: structurally different engines and controllers.
    speed
        Car seconds a real second. More than about 20 with a running engine is more than one
        processor computes.
    coolant_c
        Coolant when it comes in. [degC]
    driver
        Who sits in it; None is nobody: only scheduled actions move anything.
    manners
        Latency, refusals and lies of the engine's controller; the gearbox is slower by 30 %.
    gearbox
        Whether a second controller answers.
    gearbox_codes
        Codes that it has stored.
    ready
        Whether the monitors are complete when it comes in.
    state_file
        Where learned values, trims and codes are kept over runs.
    allowed
        Windows of the learning logic other than those of ``learning_windows.toml``.
    clock
        Monotonic seconds; tests hand in their own.

    Raises
    ------
    CarError
        If the car file, the fault, its size or the state file cannot be used.
    """

    def __init__(
        self,
        fault: str = "healthy",
        size: Sizes = None,
        *,
        seed: int = 1,
        car: Car | Path | str | None = None,
        variant: str = "A",
        speed: float = 1.0,
        coolant_c: float = 90.0,
        driver: Sitter | None = None,
        manners: Manners | None = None,
        gearbox: bool = True,
        gearbox_codes: Sequence[str] = (),
        ready: bool = True,
        state_file: Path | str | None = None,
        allowed: Mapping[str, Window] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        owner = read_car(car) if isinstance(car, str | Path) else car
        self._case = self._came_in = choose_case(fault, size, seed, variant, owner, coolant_c)
        self.driver = driver
        self.speed = speed
        self.manners = manners or Manners()
        self._state_file = Path(state_file) if state_file is not None else None
        self._body = LiveBody(self._case, self._store, ready=ready, allowed=allowed)
        self._lock = threading.RLock()
        self._schedule = Schedule()
        self._ticks = 0
        self._nodes = self._build_nodes(seed, gearbox_codes if gearbox else None)
        self._load()
        self._clock, self._began = clock, clock()

    def _build_nodes(self, seed: int, gearbox_codes: Sequence[str] | None) -> tuple[Node, ...]:
        body = self._body
        nodes = [ControllerNode(_ENGINE, body.controller, self._still, self.manners, seed)]
        if gearbox_codes is not None:
            inside = GearboxController(
                body.values, body.gearbox_identity, gearbox_codes, body.may_clear
            )
            latency = Manners(1.3 * self.manners.latency_s, self.manners.jitter_s)
            nodes.append(ControllerNode(_GEARBOX, inside, self._still, latency, seed))
        return tuple(nodes)

    # What a wire sees.

    @property
    def nodes(self) -> Sequence[Node]:
        """Its controllers, the engine's first."""
        return self._nodes

    @property
    def awake(self) -> bool:
        """Whether the ignition keeps the controllers awake."""
        with self._lock:
            self.advance(self.now_s())
            return self._body.awake

    @contextmanager
    def _still(self) -> Iterator[bool]:
        """Hold the car still at the present while an answer is made; gives whether it is awake."""
        with self._lock:
            self.advance(self.now_s())
            self._body.values.refresh()
            if isinstance(self.driver, Mechanic) and self._body.awake:
                self.driver.visited(self.time_s)
            yield self._body.awake

    # Time.

    def now_s(self) -> float:
        """The present in car time: real time since it was made, times ``speed``. [s]"""
        return (self._clock() - self._began) * self.speed

    @property
    def time_s(self) -> float:
        """Up to when the car has been moved on, in car time. [s]"""
        return self._ticks * TICK_S

    def advance(self, to_s: float) -> None:
        """Move the car on up to a car time, in whole ticks; the past is left alone. [s]"""
        until = int(to_s / TICK_S + 1e-6)
        with self._lock:
            while self._ticks < until:
                self._tick()

    @property
    def behind_s(self) -> float:
        """How far it lags behind its clock; grows where ``speed`` is too much. [s], car time"""
        return self.now_s() - self.time_s

    @contextmanager
    def keep_up(self, every_s: float = 0.02) -> Iterator[None]:
        """Keep the car moving with real time in a thread, so that no answer has to wait for it."""
        done = threading.Event()

        def work() -> None:
            while not done.wait(every_s):
                # In small bites, between which answers get their turn.
                while not done.is_set() and self.behind_s > TICK_S:
                    self.advance(min(self.now_s(), self.time_s + _BITE_S))

        thread = threading.Thread(target=work, name="practice car", daemon=True)
        thread.start()
        try:
            yield
        finally:
            done.set()
            thread.join()

    def _tick(self) -> None:
        self._ticks += 1
        now_s = self.time_s
        for action in self._schedule.due(now_s):
            action.apply(self._body.controls)
        self._body.tick(self._ticks, now_s)
        look = self._ticks % (TICKS_PER_STEP * STEPS_PER_LOOK) == 0
        if look and self.driver is not None:
            self.follow(self.driver.act(now_s, self.seen()))

    # Hands, feet and eyes.

    def do(self, control: str, value: float, at_s: float | None = None) -> None:
        """Move a control now, or at a car time; see :data:`ignition.CONTROLS`. [s]"""
        with self._lock:
            self._schedule.add(Action(self.now_s() if at_s is None else at_s, control, value))

    def follow(self, actions: Sequence[Action]) -> None:
        """Do all of this, each at its own car time."""
        with self._lock:
            for action in actions:
                self._schedule.add(action)

    def ask(self, rpm: float | None) -> None:
        """Ask the mechanic to hold a speed, 0 for idle, None to go back to the round. [rpm]

        Raises
        ------
        BellmouthError
            If somebody else is driving.
        """
        if not isinstance(self.driver, Mechanic):
            raise BellmouthError("Nobody in this practice car takes requests; give it a Mechanic.")
        with self._lock:
            self.driver.ask(rpm, self.now_s())

    def seen(self) -> Seen:
        """What somebody in the driver's seat sees and hears, as of :attr:`time_s`."""
        with self._lock:
            return self._body.seen(self.time_s)

    @property
    def plate_heard_ago_s(self) -> float:
        """How long ago the plate was last heard to move by itself; infinite for never. [s]"""
        with self._lock:
            return self.time_s - self._body.plate_heard_s

    @property
    def controls(self) -> Controls:
        """Where key, pedal and the rest stand."""
        return self._body.controls

    @property
    def lamp(self) -> Lamp:
        """The malfunction lamp: off, on, or blinking; see :meth:`seen`."""
        return self.seen().lamp

    def take_battery_off(self) -> None:
        """Disconnect the battery: all but permanent codes is forgotten."""
        with self._lock:
            self._body.take_battery_off(self.time_s)

    def put_battery_on(self) -> None:
        """Connect it again."""
        with self._lock:
            self._body.battery_on = True

    def mend(self, works: Sequence[str]) -> None:
        """Do works of the job card on it, such as ``clean_plate``: the faults they heal are gone.

        What the controller has learned stays, so that after a deposit is cleaned off the idle is
        too high until it has learned again, by a procedure or by idling for long.
        """
        with self._lock:
            self._case = mended(self._case, works)
            self._body.engine.take_over(self._case)

    @property
    def metered(self) -> bool:
        """Whether it has an airflow meter."""
        return bool(self._case.car.airflow_metered[0] > 0)

    # What only its maker knows.

    @property
    def truth(self) -> Truth:
        """What is really wrong, and how big."""
        return truth_of(self._case)

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """What the learning logic thought of every go at a procedure, in order of time."""
        with self._lock:
            return self._body.learning.verdicts

    @property
    def learned(self) -> Learned:
        """What the controller has learned."""
        return self._body.learning.learned

    def toml(self) -> str:
        """The car file that its owner wrote when it came in; no work since changes it."""
        case = self._came_in
        return car_toml(case, _complaint(case, self._body.engine.settled_idle))

    # Over runs.

    def _load(self) -> None:
        if self._state_file is not None:
            kept = read_state(self._state_file, self._body.mark)
            if kept is not None:
                with not_kept(self._state_file):
                    self._body.restore(kept)

    def _store(self) -> None:
        """What the controller writes down after key off; that it cannot be is said at the end.

        Whoever moves the car on, a wire's thread or one of its own, could do nothing about it.
        """
        with suppress(CarError):
            self._save()

    def _save(self) -> None:
        if self._state_file is not None:
            write_state(self._state_file, self._body.mark, self._body.kept())

    def close(self) -> None:
        """Write down what is kept over runs.

        Raises
        ------
        CarError
            If it cannot be written.
        """
        with self._lock:
            self._save()
