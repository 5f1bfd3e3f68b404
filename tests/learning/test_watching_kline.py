"""A car on a K line is followed live as one on CAN is: over a pseudo-terminal, a whole attempt.

Everything goes twice as fast as in life: the car, the coach's clock and the line's own times.
"""

import math
import threading
from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from bellmouth.bus import opening
from bellmouth.bus.kline import open_kline
from bellmouth.bus.opening import open_client
from bellmouth.cli import coaching, main
from bellmouth.j1979.iso14230 import TIMING, Timing
from bellmouth.j1979.parameters import by_name, encode, encode_supported
from bellmouth.learning import session
from bellmouth.learning.attempts import Attempts
from bellmouth.learning.clock import MonotonicClock
from bellmouth.learning.coach import Coach
from bellmouth.learning.watching import CarObserver
from bellmouth.practice.answering import Node, Reply
from bellmouth.practice.ignition import Action, Key
from bellmouth.practice.kline import KLineServer
from bellmouth.practice.learner import Learner, Slips
from bellmouth.practice.light_car import LightCar
from bellmouth.practice.live import PracticeCar
from bellmouth.practice.mechanic import Seen
from bellmouth.practice.person import HABITS, Habit, Person
from bellmouth.practice.wires import WireChoice, serve

SPEED = 2.0
#: The closed position as an owner writes it down; a K line is too slow to rule out a short touch of
#: the pedal, so nothing forbids one.
OWN = """
name = "closed-position"
title = "Closed position"
source = "Manual, section 3"
[[sign]]
how = "heard"
what = "The plate is heard to move."
[[step]]
name = "key_on"
who = "key"
do = "on"
say = "Key on"
lasts_s = { least = 2, aim = 5 }
[[step]]
name = "key_off"
who = "key"
do = "off"
say = "Key off"
lasts_s = { least = 10, aim = 14 }
"""


def _timing() -> Timing:
    times = (one / SPEED for one in astuple(TIMING))
    return Timing(*times)


@dataclass
class WiredCar:
    """The light practice car, whose controllers a K line reaches; the car of a test's own clock."""

    clock: MonotonicClock = field(default_factory=lambda: MonotonicClock(SPEED))
    car: LightCar = field(default_factory=LightCar)
    lock: threading.Lock = field(default_factory=threading.Lock)
    address: int = 0x10

    def __post_init__(self) -> None:
        self._began_s = self.clock.now_s()

    @property
    def nodes(self) -> Sequence[Node]:
        return (self,)

    @property
    def awake(self) -> bool:
        return self._poll() is not None

    def _now_s(self) -> float:
        return self.clock.now_s() - self._began_s

    def _poll(self) -> Mapping[str, float] | None:
        with self.lock:
            self.car.advance(self._now_s())
            found = self.car.poll().values
        # The lamp is none of a K line's business: it is asked too seldom.
        return found and {name: one for name, one in found.items() if name != "monitor_status"}

    def do(self, actions: Sequence[Action], now_s: float) -> None:
        """Actions at times of a clock that shows this now. [s]"""
        with self.lock:
            ahead_s = self._now_s() - now_s
            self.car.follow([replace(one, at_s=one.at_s + ahead_s) for one in actions])

    def seen(self) -> Seen:
        self._poll()
        with self.lock:
            return self.car.seen()

    def answer(self, payload: bytes, *, functional: bool) -> Sequence[Reply]:  # noqa: ARG002
        values = self._poll()
        if values is None or payload[0] != 1:
            return ()
        known = tuple(by_name(name).identifier for name in values)
        wanted = payload[1]
        if wanted % 0x20 == 0:
            data = encode_supported(wanted, known)
        elif wanted in known:
            data = encode(
                wanted,
                {name: values[name] for name in values if by_name(name).identifier == wanted},
            )
        else:
            return ()
        return (Reply(bytes((0x41, wanted)) + data, 0.0),)


@dataclass
class Driver:
    """Somebody in the driver's seat, who hears the coach and does what it calls."""

    car: WiredCar
    hurried_s: float = math.inf
    done: threading.Event = field(default_factory=threading.Event)

    def hear(self, coach: Coach) -> None:
        """This is the coach; the key was on for the car to be found, and goes off."""
        self.done.clear()
        self.car.do([Action(coach.clock.now_s(), "key", Key.OFF)], coach.clock.now_s())
        threading.Thread(target=self._drive, args=(coach,), name="driver", daemon=True).start()

    def _drive(self, coach: Coach) -> None:
        try:
            self._follow(coach)
        finally:
            self.done.set()

    def _do(self, coach: Coach, actions: Sequence[Action]) -> None:
        # Somebody in a hurry turns the key on again long before it is time.
        again = [
            Action(one.at_s + self.hurried_s, "key", Key.ON)
            for one in actions
            if (one.control, one.value) == ("key", Key.OFF) and math.isfinite(self.hurried_s)
        ]
        self.car.do([*actions, *again], coach.clock.now_s())

    def _follow(self, coach: Coach) -> None:
        person = Person({kind: Habit(0.05, 0.05) for kind in HABITS}, seed=3)
        learner = Learner(
            person, coach.session.procedure, lambda actions: self._do(coach, actions),
            marks=True, slips=Slips(), rng=np.random.default_rng(3),
        )  # fmt: skip
        while not coach.wait(0.005):
            learner.look(coach, self.car.seen(), coach.clock.now_s())
        now_s = coach.clock.now_s()
        self.car.do([Action(now_s + 0.5, "key", Key.ON)], now_s)


@pytest.fixture
def driver(monkeypatch: pytest.MonkeyPatch) -> Driver:
    """Whoever hears the coach that the command makes."""
    driver, made = Driver(WiredCar()), Coach

    def heard(*words: Any, **named: Any) -> Coach:
        coach = made(*words, **named)
        start = coach.start

        def begin() -> None:
            start()
            driver.hear(coach)

        monkeypatch.setattr(coach, "start", begin)
        return coach

    monkeypatch.setattr(coaching, "Coach", heard)
    monkeypatch.setattr(coaching, "make_clock", lambda: MonotonicClock(SPEED))
    monkeypatch.setattr(session, "COUNT_IN_S", 4.0)
    monkeypatch.setattr(
        opening, "open_link", lambda _, channel, __: open_kline(channel, timing=_timing())
    )
    return driver


@pytest.mark.parametrize(
    ("hurried_s", "takes", "told"), [(math.inf, True, "met"), (6.0, False, "missed")]
)
def test_a_whole_attempt_is_judged_as_the_controller_takes_it(
    driver: Driver, tmp_path: Path, hurried_s: float, takes: bool, told: str
) -> None:
    """``coach --live`` on a serial K line; whoever turns the key on too soon is told so."""
    own = tmp_path / "own.toml"
    own.write_text(OWN)
    driver.hurried_s = hurried_s
    words = ["coach", own, "--manual-checked", "--live", "--interface", "kline", "--quiet"]
    for number in range(3):
        driver.car.do([Action(0.0, "key", Key.ON)], 0.0)
        kept_in = tmp_path / str(number)
        with KLineServer(driver.car, timing=_timing()) as served:
            every = [*words, "--channel", served.channel, "--keep", kept_in]
            result = CliRunner().invoke(main, [str(word) for word in every])
            assert driver.done.wait(60.0), result.output
        (kept,) = Attempts(kept_in).read()
        if kept.outcome != "void":  # this computer stood still: begin again, as anybody would
            break
    verdicts = [one for one in driver.car.car.verdicts if one.procedure == "closed_position"]
    assert verdicts[-1].met is takes
    assert kept.live
    assert kept.judgement == told, result.output
    assert result.exit_code == (0 if takes else 1)
    assert kept.outcome == ("done" if takes else "lost")


def test_pedal_and_engine_are_watched_on_a_k_line() -> None:
    car = PracticeCar("healthy", seed=1)
    car.do("key", Key.ON)
    served = serve(car, WireChoice(kline=True))
    try:
        with car.keep_up(), open_client("kline", served.channel) as client:
            observer = CarObserver(client)
            assert {"key", "engine"} <= observer.watched
            assert "engine_speed" in observer.look()
    finally:
        served.close()
        car.close()
