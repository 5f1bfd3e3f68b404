"""A car on a K line is followed live as one on CAN is: over a pseudo-terminal, a whole attempt.

Everything goes four times as fast as in life: the car, the coach's clock and the line's own times.
"""

import threading
from collections.abc import Callable, Iterator
from dataclasses import astuple, dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from bellmouth.bus import opening
from bellmouth.bus.kline import open_kline
from bellmouth.bus.opening import open_client
from bellmouth.cli import coaching, main
from bellmouth.j1979.iso14230 import TIMING, Timing
from bellmouth.learning.attempts import Attempts
from bellmouth.learning.clock import MonotonicClock
from bellmouth.learning.coach import Coach
from bellmouth.learning.procedure_reader import read_procedure
from bellmouth.learning.watching import CarObserver
from bellmouth.practice.ignition import Action, Key
from bellmouth.practice.kline import KLineServer
from bellmouth.practice.learner import Learner, Slips
from bellmouth.practice.live import PracticeCar
from bellmouth.practice.person import HABITS, Habit, Person
from bellmouth.practice.services import Manners
from bellmouth.practice.wires import WireChoice, serve

SPEED = 4.0
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
lasts_s = { least = 10, aim = AIM }
"""


def _timing() -> Timing:
    times = (one / SPEED for one in astuple(TIMING))
    return Timing(*times)


@dataclass
class Driver:
    """Somebody in the driver's seat of a practice car, who hears the coach."""

    car: PracticeCar
    coach: Coach | None = None
    done: threading.Event = field(default_factory=threading.Event)

    def hear(self, coach: Coach) -> None:
        """This is the coach; the key was on for the car to be found."""
        self.coach = coach
        self.car.do("key", Key.OFF)
        threading.Thread(target=self._drive, args=(coach,), name="driver", daemon=True).start()

    def _drive(self, coach: Coach) -> None:
        try:
            self._follow(coach)
        finally:
            self.done.set()

    def _follow(self, coach: Coach) -> None:
        procedure, clock = coach.session.procedure, coach.clock

        def do(actions: list[Action]) -> None:
            ahead_s = self.car.now_s() - clock.now_s()
            self.car.follow([replace(one, at_s=one.at_s + ahead_s) for one in actions])

        person = Person({kind: Habit(0.05, 0.05) for kind in HABITS}, seed=3)
        learner = Learner(
            person, procedure, do, marks=True, slips=Slips(), rng=np.random.default_rng(3)
        )
        while not coach.wait(0.005):
            learner.look(coach, self.car.seen(), clock.now_s())
        self.car.do("key", Key.ON, self.car.now_s() + 0.5)


@pytest.fixture
def car() -> Iterator[PracticeCar]:
    made = PracticeCar(
        "healthy", seed=1, speed=SPEED, coolant_c=85.0, manners=Manners(0.0, 0.0), gearbox=False
    )
    yield made
    made.close()


@pytest.fixture
def driver(car: PracticeCar, monkeypatch: pytest.MonkeyPatch) -> Driver:
    """Whoever hears the coach that the command makes."""
    driver, made = Driver(car), Coach

    def heard(*words: object, **named: object) -> Coach:
        coach = made(*words, **named)  # type: ignore[arg-type]
        start: Callable[[], None] = coach.start

        def begin() -> None:
            driver.hear(coach)
            start()

        coach.start = begin  # type: ignore[method-assign]
        return coach

    monkeypatch.setattr(coaching, "Coach", heard)
    monkeypatch.setattr(coaching, "make_clock", lambda: MonotonicClock(SPEED))
    monkeypatch.setattr(
        opening, "open_link", lambda _, channel, __: open_kline(channel, timing=_timing())
    )
    return driver


@pytest.mark.parametrize(("aim_s", "takes"), [(14, True), (4, False)])
def test_a_whole_attempt_is_judged_as_the_controller_takes_it(
    car: PracticeCar, driver: Driver, tmp_path: Path, aim_s: int, takes: bool
) -> None:
    """The coach is told to have the key off for long enough, or not: car and judge agree."""
    own = tmp_path / "own.toml"
    own.write_text(OWN.replace("least = 10", f"least = {min(aim_s, 10)}").replace("AIM", str(aim_s)))
    car.do("key", Key.ON)
    with KLineServer(car, timing=_timing()) as served, car.keep_up(0.02):
        result = CliRunner().invoke(
            main,
            [
                "coach", str(own), "--manual-checked", "--live", "--interface", "kline",
                "--channel", served.channel, "--keep", str(tmp_path), "--quiet",
            ],
        )  # fmt: skip
        assert driver.done.wait(60.0)
    assert driver.coach is not None
    verdicts = [one for one in car.verdicts if one.procedure == "closed_position"]
    assert verdicts[-1].met is takes
    (kept,) = Attempts(tmp_path).read()
    assert kept.live
    assert kept.outcome == "done"
    print(result.output, car.verdicts, car.now_s())
    assert [one.step for one in kept.timings] == ["key_on", "key_off"]


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
