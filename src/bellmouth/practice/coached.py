"""A simulated person, a coach and a practice car on one virtual clock: hours in seconds.

The coach follows by polled signals, or by the person's marks alone. Nobody tells it what the car's
controller thinks.
"""

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from bellmouth.learning.coach import Coach
from bellmouth.learning.cues import Cue
from bellmouth.learning.live import LiveReader
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.samples import Samples
from bellmouth.learning.schedule import Leads
from bellmouth.learning.session import Session
from bellmouth.practice.ignition import Action, Key
from bellmouth.practice.learner import Learner, Slips
from bellmouth.practice.light_car import Poll
from bellmouth.practice.mechanic import Seen
from bellmouth.practice.person import Person
from bellmouth.practice.verdicts import Verdict
from bellmouth.recording.series import Recording

__all__ = ["Coachable", "Coached", "Slips", "coach_attempt", "ends_key_off", "recording_of"]

#: The person looks, and the car moves on, in steps of this. [s]
_LOOK_S = 0.01
#: The car's own step; a shorter wait ends with it. [s]
_TICK_S = 0.005
#: After the coach's last word the recorder runs on for so long. [s]
_AFTER_S = 4.0


class Coachable(Protocol):
    """A car that somebody sits in and a recorder is plugged into."""

    @property
    def time_s(self) -> float:
        """Car time. [s]"""
        ...

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """What its learning logic thought of every go."""
        ...

    def follow(self, actions: Sequence[Action]) -> None:
        """Do all of this, each at its own car time."""
        ...

    def advance(self, to_s: float) -> None:
        """Move on up to a car time. [s]"""
        ...

    def seen(self) -> Seen:
        """What somebody in the driver's seat sees and hears."""
        ...

    def poll(self) -> Poll:
        """What a controller would answer now."""
        ...


@dataclass(frozen=True)
class Coached:
    """One coached attempt.

    Attributes
    ----------
    session, coach
        As they ended.
    recording
        What was polled, None where the car never answered.
    verdicts
        The controller's own: the truth.
    marks
        What the person told of events, by name. [s]
    """

    session: Session
    coach: Coach
    recording: Recording | None
    verdicts: tuple[Verdict, ...]
    marks: Mapping[str, list[float]]


class _Room:
    """The virtual clock, and all that goes on while it runs. It is the coach's face too."""

    def __init__(self, car: Coachable, polls_per_s: float, rng: np.random.Generator) -> None:
        self._car, self._polls_per_s, self._rng = car, polls_per_s, rng
        self._next_poll_s = 0.0
        self.polls: list[Poll] = []
        self.coach: Coach | None = None
        self.learner: Learner | None = None
        self.reader: LiveReader | None = None

    def now_s(self) -> float:
        return self._car.time_s

    def away_s(self) -> float:
        return 0.0

    def reading_s(self, real_s: float) -> float:
        return real_s

    def wait(self, until_s: float, woken: threading.Event) -> None:
        while self._car.time_s < until_s - 1e-9 and not woken.is_set():
            now_s = self._car.time_s
            self.step(min(now_s + _LOOK_S, max(until_s, now_s + _TICK_S)))

    def cue(self, cue: Cue) -> None:
        """What the person makes of cues is decided ahead; a stop is answered."""
        if cue.tone == "stop" and self.learner is not None:
            self.learner.stopped(self._car.time_s)

    def step(self, to_s: float) -> None:
        self._car.advance(to_s)
        now_s = self._car.time_s
        if self.coach is not None and self.learner is not None:
            self.learner.look(self.coach, self._car.seen(), now_s)
        if now_s >= self._next_poll_s:
            self._next_poll_s = now_s + float(self._rng.uniform(0.9, 1.1)) / self._polls_per_s
            self._poll(now_s)

    def _poll(self, now_s: float) -> None:
        poll = self._car.poll()
        self.polls.append(poll)
        if self.reader is None:
            return
        if poll.values is None:
            self.reader.silent(now_s)
            return
        for name, value in poll.values.items():
            self.reader.sample(name, value, now_s)
        self.reader.told_until(now_s)


def coach_attempt(
    procedure: Procedure,
    car: Coachable,
    person: Person,
    *,
    leads: Leads | None = None,
    live: bool = True,
    polls_per_s: float = 12.0,
    slips: Slips | None = None,
    seed: int = 1,
) -> Coached:
    """Coach one attempt from the count-in to a few seconds after its end, in no real time.

    Parameters
    ----------
    procedure, car, person
        What, in what, by whom.
    leads
        By how much each kind of cue comes before its planned moment. [s]
    live
        Whether the coach follows polled signals; else it has the person's marks alone.
    polls_per_s
        How often every parameter is sampled. [1/s]
    slips
        How often the person does something else than asked.
    seed
        Of the polling and the slips.
    """
    rng = np.random.default_rng([seed, 59])
    room = _Room(car, polls_per_s, rng)
    watched = {"key", "pedal", "engine"} if live else set[str]()
    session = Session(procedure, leads=leads, watched=watched)
    coach = Coach(session, room, room)
    room.coach = coach
    room.learner = Learner(
        person, procedure, car.follow, marks=not live, slips=slips or Slips(), rng=rng
    )
    room.reader = LiveReader(coach, 1.0 / polls_per_s) if live else None
    coach.run()
    if session.phase == "done" and ends_key_off(procedure):
        car.follow([Action(car.time_s + 0.5, "key", Key.ON)])
    end_s = car.time_s + _AFTER_S
    while car.time_s < end_s:
        room.step(car.time_s + _LOOK_S)
    return Coached(session, coach, recording_of(room.polls), car.verdicts, dict(session.told))


def ends_key_off(procedure: Procedure) -> bool:
    """Whether its last time is one with the key off: on record only once the key is on again."""
    last = procedure.steps[-1]
    return (last.who, last.do) == ("key", "off")


def recording_of(polls: Sequence[Poll]) -> Recording | None:
    """What a recorder would have kept; None where the car never answered."""
    samples = Samples()
    for poll in polls:
        for name, value in (poll.values or {}).items():
            samples.add(name, value, poll.at_s)
    return samples.recording("practice")
