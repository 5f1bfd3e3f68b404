"""A simulated person coached over a wire, in real time or some times faster."""

import threading
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bellmouth.bus.opening import open_client
from bellmouth.learning.clock import MonotonicClock
from bellmouth.learning.coach import Coach
from bellmouth.learning.cues import Cue
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.schedule import Leads
from bellmouth.learning.session import Session
from bellmouth.learning.watching import CarObserver
from bellmouth.practice.coached import Coached, ends_key_off
from bellmouth.practice.ignition import Action, Key
from bellmouth.practice.learner import Learner, Slips
from bellmouth.practice.live import PracticeCar
from bellmouth.practice.person import Person
from bellmouth.practice.services import Manners
from bellmouth.practice.wires import WireChoice, serve

__all__ = ["coach_over_wire"]

_LOOK_S = 0.005
_AFTER_S = 5.0
#: The key is on for the recorder to find the car, and off again before the count-in ends. [s]
_FOUND_S = 1.5


class _Face:
    """Tells the person of a stop."""

    def __init__(self) -> None:
        self.stop = threading.Event()

    def cue(self, cue: Cue) -> None:
        if cue.tone == "stop":
            self.stop.set()


def coach_over_wire(
    procedure: Procedure,
    person: Person,
    *,
    speed: float = 4.0,
    seed: int = 1,
    slips: Slips | None = None,
    choice: WireChoice | None = None,
    leads: Leads | None = None,
) -> Coached:
    """One attempt in the live practice car, followed over SLCAN or what ``choice`` says.

    ``speed`` is car seconds a real second: as much as this computer keeps up with. ``leads`` is by
    how much each kind of cue comes before its planned moment. [s]
    """
    manners = Manners(latency_s=0.0, jitter_s=0.0)
    car = PracticeCar(seed=seed, speed=speed, coolant_c=85.0, manners=manners, gearbox=False)
    served = serve(car, choice or WireChoice(port=0))
    try:
        with car.keep_up(0.02):
            car.do("key", Key.ON)
            car.advance(car.now_s())
            with open_client(served.interface, served.channel) as client:
                # On a K line nobody but the person sees the lamp.
                marks = choice is not None and choice.kline
                observer = CarObserver(client)
                session = Session(procedure, leads=leads, watched=observer.watched)
                return _coach(session, person, car, observer, seed, slips or Slips(), marks=marks)
    finally:
        served.close()
        car.close()


def _coach(
    session: Session, person: Person, car: PracticeCar, observer: CarObserver, seed: int,
    slips: Slips, *, marks: bool,
) -> Coached:  # fmt: skip
    clock, face, procedure = MonotonicClock(car.speed), _Face(), session.procedure

    def do(actions: Sequence[Action]) -> None:
        ahead_s = car.now_s() - clock.now_s()
        car.follow([replace(one, at_s=one.at_s + ahead_s) for one in actions])

    rng = np.random.default_rng([seed, 61])
    learner = Learner(person, procedure, do, marks=marks, slips=slips, rng=rng)
    pause = threading.Event()
    do([Action(clock.now_s() + _FOUND_S, "key", Key.OFF)])
    with Coach(session, face, clock) as coach, observer.watching(coach, clock):
        coach.start()
        while not coach.wait(_LOOK_S):
            learner.look(coach, car.seen(), clock.now_s())
        if face.stop.is_set():
            learner.stopped(clock.now_s())
        elif ends_key_off(procedure):
            car.do("key", Key.ON, car.now_s() + 0.5)
        pause.wait(_AFTER_S / car.speed)
    samples = observer.samples
    told = samples.marks(session.told)
    return Coached(session, coach, samples.recording("wire"), car.verdicts, told)
