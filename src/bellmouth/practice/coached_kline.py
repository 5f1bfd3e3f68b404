"""A simulated person coached over a K line, on one virtual clock: minutes in seconds.

Link, client, observer and coach are the very ones of a real attempt; the port is none: its bytes
go straight to the practice car's own K line, and whoever waits for them lets the clock go on.
"""

import threading
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from bellmouth.bus.client import Client
from bellmouth.bus.kline import KLineLink
from bellmouth.bus.kline_wire import Wire
from bellmouth.j1979.parameters import by_name, encode, encode_supported
from bellmouth.learning.coach import Coach
from bellmouth.learning.cues import Cue
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.schedule import Leads
from bellmouth.learning.session import Session
from bellmouth.learning.watching import CarObserver
from bellmouth.practice.answering import Node, Reply
from bellmouth.practice.coached import Coached, ends_key_off
from bellmouth.practice.ignition import Action, Key
from bellmouth.practice.kline_car import KLineCar
from bellmouth.practice.learner import Learner, Slips
from bellmouth.practice.light_car import LightCar
from bellmouth.practice.person import Person

__all__ = ["AnsweringLightCar", "coach_over_kline"]

_LOOK_S = 0.01
_AFTER_S = 5.0
#: The key is on for the recorder to find the car, and off again before the count-in ends. [s]
_FOUND_S = 1.5


class AnsweringLightCar:
    """The light practice car behind a wire; it reports no lamp, which a K line asks too seldom."""

    address = 0x10

    def __init__(self, car: LightCar, now_s: Callable[[], float]) -> None:
        self._car, self._now_s = car, now_s

    @property
    def nodes(self) -> Sequence[Node]:
        """See :class:`bellmouth.practice.answering.Answering`."""
        return (self,)

    @property
    def awake(self) -> bool:
        """See :class:`bellmouth.practice.answering.Answering`."""
        return self._values() is not None

    def _values(self) -> Mapping[str, float] | None:
        self._car.advance(self._now_s())
        found = self._car.poll().values
        return found and {name: one for name, one in found.items() if name != "monitor_status"}

    def answer(self, payload: bytes, *, functional: bool) -> Sequence[Reply]:  # noqa: ARG002
        """See :class:`bellmouth.practice.answering.Node`."""
        values = self._values()
        if values is None or payload[0] != 1:
            return ()
        known = {by_name(name).identifier: name for name in values}
        wanted = payload[1]
        if wanted % 0x20 == 0:
            data = encode_supported(wanted, tuple(known))
        elif wanted in known:
            data = encode(wanted, {known[wanted]: values[known[wanted]]})
        else:
            return ()
        return (Reply(bytes((0x41, wanted)) + data, 0.0),)


#: The least that the virtual clock moves on by. [s]
_TICK_S = 1e-6


class _Room:
    """The virtual clock of several threads, of which one at a time is awake, and the coach's face.

    When all wait, time goes on to the moment that comes first; the person looks on the way.
    """

    def __init__(self, car: LightCar) -> None:
        self._car, self._now_s = car, car.time_s
        self._turn = threading.Condition()
        self._waiting: dict[int, tuple[float, threading.Event | None]] = {}
        self._looked_s = self._now_s
        self.parties = 1
        self.coach: Coach | None = None
        self.learner: Learner | None = None

    def now_s(self) -> float:
        return self._now_s

    def away_s(self) -> float:
        return 0.0

    def reading_s(self, real_s: float) -> float:
        return real_s

    def cue(self, cue: Cue) -> None:
        if cue.tone == "stop" and self.learner is not None:
            self.learner.stopped(self._now_s)

    def sleep(self, seconds: float) -> None:
        self.wait(self.now_s() + seconds, None)

    def wait(self, until_s: float, woken: threading.Event | None) -> None:
        me = threading.get_ident()
        with self._turn:
            self._waiting[me] = (until_s, woken)
            self._go_on()
            while me in self._waiting:
                self._turn.wait()

    def leave(self) -> None:
        """Whoever calls this waits by other means from now on."""
        with self._turn:
            self.parties -= 1
            self._go_on()

    def _go_on(self) -> None:
        """Let time pass until somebody's moment has come, if all wait for theirs."""
        while self._waiting and len(self._waiting) >= self.parties:
            awake = [one for one, (_, woken) in self._waiting.items() if woken and woken.is_set()]
            first = min(self._waiting, key=lambda one: self._waiting[one][0])
            until_s = self._waiting[first][0]
            if awake or until_s <= self._now_s + 1e-9:
                del self._waiting[awake[0] if awake else first]
                self._turn.notify_all()
                return
            self._step(min(until_s, self._looked_s + _LOOK_S))

    def _step(self, to_s: float) -> None:
        self._now_s = max(to_s, self._now_s)
        self._car.advance(self._now_s)
        if self._now_s < self._looked_s + _LOOK_S - 1e-9:
            return
        self._looked_s = self._now_s
        if self.coach is not None and self.learner is not None:
            self.learner.look(self.coach, self._car.seen(), self._now_s)


class _Port:
    """A serial port whose other end is the practice car's K line."""

    def __init__(self, line: KLineCar, room: _Room) -> None:
        self._line, self._room = line, room
        self._come = bytearray()
        self.baudrate = 10_400
        self.timeout: float | None = 0.0
        self.break_condition = False

    @property
    def in_waiting(self) -> int:
        self._fetch()
        return len(self._come)

    def _fetch(self) -> None:
        for frame in self._line.give(self._room.now_s()):
            self._come += frame

    def read(self, size: int = 1, /) -> bytes:
        until_s = self._room.now_s() + (self.timeout or 0.0)
        while not self.in_waiting and (now_s := self._room.now_s()) < until_s - 1e-9:
            wait_s = self._line.wait_s(now_s)
            # Less than the clock can tell apart would be no time at all, for ever.
            come_s = until_s if wait_s is None else now_s + max(wait_s, _TICK_S)
            self._room.wait(min(until_s, come_s), None)
        data = bytes(self._come[:size])
        del self._come[:size]
        return data

    def write(self, data: bytes, /) -> int:
        self._line.take(data, self._room.now_s())
        self._come += data  # the line is one wire
        return len(data)

    def flush(self) -> None: ...

    def close(self) -> None: ...


class _Wire(Wire):
    """Waits to the moment itself: a virtual clock has no lateness to make up for."""

    def sleep_until(self, when: float) -> None:
        self._sleep(max(when - self.clock(), 0.0))


def coach_over_kline(
    procedure: Procedure,
    person: Person,
    *,
    car: LightCar | None = None,
    leads: Leads | None = None,
    slips: Slips | None = None,
    late_s: float = 0.0,
    seed: int = 1,
) -> Coached:
    """Coach one attempt over a K line, in no real time.

    Parameters
    ----------
    procedure, person
        What, by whom.
    car
        In what; its key is turned on for the car to be found.
    leads
        By how much each kind of cue comes before its planned moment. [s]
    slips
        How often the person does something else than asked.
    late_s
        What the computer takes on top of every question, on average (exponential). [s]
    seed
        Of lateness and slips.
    """
    car = car or LightCar()
    room, rng = _Room(car), np.random.default_rng([seed, 67])
    car.do("key", Key.ON)
    room.sleep(0.1)
    port = _Port(KLineCar(AnsweringLightCar(car, room.now_s)), room)
    wire = _Wire(port, "virtual", wake="byte", clock=room.now_s, sleep=room.sleep)
    with Client(_Late(wire, late_s, rng, room)) as client:
        return _coach(procedure, person, car, room, client, slips or Slips(), rng, leads)


class _Late(KLineLink):
    """A link on a computer that takes its time."""

    def __init__(self, wire: Wire, late_s: float, rng: np.random.Generator, room: _Room) -> None:
        super().__init__(wire)
        self._late_s, self._rng, self._room = late_s, rng, room

    def _is_up(self) -> bool:
        if self._late_s:
            self._room.sleep(float(self._rng.exponential(self._late_s)))
        return super()._is_up()


def _coach(
    procedure: Procedure, person: Person, car: LightCar, room: _Room, client: Client,
    slips: Slips, rng: np.random.Generator, leads: Leads | None,
) -> Coached:  # fmt: skip
    observer = CarObserver(client)
    session = Session(procedure, leads=leads, watched=observer.watched)
    coach = Coach(session, room, room)
    room.coach = coach
    room.learner = Learner(person, procedure, car.follow, marks=True, slips=slips, rng=rng)
    car.follow([Action(car.time_s + _FOUND_S, "key", Key.OFF)])
    room.parties = 2
    with observer.watching(coach, room):
        coach.run()
        if session.phase == "done" and ends_key_off(procedure):
            car.follow([Action(car.time_s + 0.5, "key", Key.ON)])
        room.sleep(_AFTER_S)
        room.leave()
    samples = observer.samples
    told = samples.marks(session.told)
    return Coached(session, coach, samples.recording("K line"), car.verdicts, told)
