"""The coach: gives each cue at its time from a thread of its own, whatever face shows it.

It follows what an observer sees where there is one, waits for events, says at once when an attempt
is lost, and holds an attempt void where the computer slept or stood still.
"""

import math
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from types import TracebackType
from typing import Protocol, Self

from bellmouth.learning.allowed import Allowed
from bellmouth.learning.clock import Clock, MonotonicClock
from bellmouth.learning.cues import Cue
from bellmouth.learning.evidence import Moment
from bellmouth.learning.priority import preferred
from bellmouth.learning.reasons import reason
from bellmouth.learning.samples import Samples
from bellmouth.learning.session import ENDED, Progress, Session

__all__ = ["Coach", "Face", "Given", "Observer", "Placing", "Sink"]

#: The coach looks up at least so often, and so learns that it was held up. [s]
_HEARTBEAT_S = 0.5
#: Cues are placed so long before their moment; longer than a heartbeat and a sound card's buffer
#: together. [s]
_PLACED_S = 1.2
#: From the start to the first cue where cues are placed. [s]
_HEAD_S = 0.5
#: Later than this with a cue, or asleep for this long, and the attempt is void. [s]
_VOID_S = 0.5


class Face(Protocol):
    """What shows and sounds cues; called from the coach's thread and must return at once."""

    def cue(self, cue: Cue) -> None:
        """Give one cue now."""
        ...


class Placing(Protocol):
    """Gives cues at moments that it was told of beforehand, whatever holds up the coach's thread.

    The face is told of each cue as well, at its moment or a little later, and does not sound what
    was placed. Called with the coach's lock held; must return at once.
    """

    def place(self, cue: Cue, at_s: float) -> None:
        """Give a cue at a time of the coach's clock. [s]"""
        ...

    def withdraw(self, cue: Cue) -> None:
        """A cue that was placed has moved, or will not come."""
        ...


class Sink(Protocol):
    """Where an observer, or the person's own keys, tell what happened. [s], coach's clock"""

    def acted(self, action: str, moment: Moment) -> None:
        """An action: ``key_on``, ``key_off``, ``press``, ``release``, ``engine_start``, and
        ``engine_runs`` for when it fires.
        """
        ...

    def mark(self, event: str, moment: Moment | None = None) -> None:
        """An event of the car; without a moment, it was seen or heard just now."""
        ...

    def reading(self, name: str, value: float, at_s: float) -> None:
        """A reading in the parameter's own unit."""
        ...

    def seen_until(self, at_s: float) -> None:
        """All that happened up to a time has been told."""
        ...


class Observer(Protocol):
    """Watches the car while an attempt runs; ``watched`` is what it sees of the person."""

    @property
    def watched(self) -> frozenset[str]:
        """``key``, ``pedal``, ``engine``."""
        ...

    @property
    def samples(self) -> Samples:
        """All that was read, for the judge."""
        ...

    def watching(self, sink: Sink, clock: Clock) -> AbstractContextManager[None]:
        """While entered, tells the sink what it sees, from a thread of its own."""
        ...


@dataclass(frozen=True, slots=True)
class Given:
    """A cue that was given: when it should have been and when it was. [s]"""

    cue: Cue
    at_s: float

    @property
    def late_s(self) -> float:
        """How late it was. [s]"""
        return self.at_s - self.cue.at_s


class Coach:
    """Runs one session; also a context manager that stops it. All methods are safe from any thread.

    Parameters
    ----------
    session
        The attempt.
    face
        Gets every cue.
    clock
        What time is counted by.
    ahead_s
        Each cue is given so much sooner, for sound that takes its time on the way. [s]
    placing
        Is told of cues beforehand, None where nobody can be.
    """

    def __init__(
        self,
        session: Session,
        face: Face,
        clock: Clock | None = None,
        *,
        ahead_s: float = 0.0,
        placing: Placing | None = None,
    ) -> None:
        self.session = session
        self.clock: Clock = clock or MonotonicClock()
        self.given: list[Given] = []
        self._face = face
        self._ahead_s = ahead_s
        self._placing = placing
        self._placed: frozenset[Cue] = frozenset()
        self._lock = threading.RLock()
        self._woken = threading.Event()
        self._thread: threading.Thread | None = None
        self._away_s = self.clock.away_s()

    # Running.

    def start(self) -> None:
        """Begin counting in, in a thread of its own."""
        self._thread = threading.Thread(target=self._run_first, name="coach", daemon=True)
        self._thread.start()

    def _run_first(self) -> None:
        with preferred():
            self.run()

    def run(self) -> None:
        """Begin counting in, and return when the attempt is over.

        Where a face raises, the attempt is void, and whoever waits for its end is told so.
        """
        with self._lock:
            if self.session.phase in ENDED:
                return  # stopped before it could begin
            self._away_s = self.clock.away_s()
            # The very first cue is placed beforehand as well.
            head_s = 0.0 if self._placing is None else _HEAD_S
            self.session.begin(self.clock.now_s() + head_s)
        try:
            while not self._step():
                pass
        finally:
            self.session.void(reason("failed"), self.clock.now_s())

    def wait(self, seconds: float | None = None) -> bool:
        """Wait for the end, so many real seconds at most; whether it has come."""
        if self._thread is not None:
            self._thread.join(seconds)
            return not self._thread.is_alive()
        return self.session.phase in ENDED

    def close(self) -> None:
        """Stop it if it still runs, and end its thread."""
        if self.session.phase not in ENDED:
            self.stop()
        if self._thread is not None:
            self._thread.join()

    def __enter__(self) -> Self:
        """The coach itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """See :meth:`close`."""
        self.close()

    def _step(self) -> bool:
        """Wait for what is next and give it; True at the end."""
        with self._lock:
            self._woken.clear()
            if self.session.phase in ENDED:
                return True
            now_s = self.clock.now_s()
            self._look_ahead(now_s)
            next_s = self.session.next_s() - self._ahead_s
        until_s = min(next_s, now_s + _HEARTBEAT_S)
        self.clock.wait(until_s, self._woken)
        with self._lock:
            woke_s = self.clock.now_s()
            if self._was_away(until_s, woke_s):
                return True
            for cue in self.session.due(woke_s + self._ahead_s):
                self._give(cue)
            return self.session.phase in ENDED

    def _was_away(self, until_s: float, woke_s: float) -> bool:
        """Whether the computer slept or stood still; the attempt is void then."""
        slept_s = self.clock.away_s() - self._away_s
        late_s = woke_s - until_s
        if slept_s > _VOID_S:
            why = reason("slept", by=f"{slept_s:.1f}")
        elif late_s > _VOID_S and math.isfinite(until_s):
            why = reason("stood", by=f"{late_s:.1f}")
        else:
            return False
        for cue in self.session.void(why, woke_s):
            self._give(cue)
        return True

    def _look_ahead(self, now_s: float) -> None:
        """Place what comes soon, and take back what has moved."""
        if self._placing is None:
            return
        planned = self.session.planned(now_s + self._ahead_s + _PLACED_S)
        for cue in self._placed.difference(planned):
            self._placing.withdraw(cue)
        for cue in planned:
            if cue not in self._placed:
                self._placing.place(cue, cue.at_s - self._ahead_s)
        self._placed = frozenset(planned)

    def _give(self, cue: Cue) -> None:
        # It is out: to take it back could only silence it.
        self._placed -= {cue}
        self._face.cue(cue)
        self.given.append(Given(cue, self.clock.now_s() + self._ahead_s))

    def _tell(self, told: Callable[[float], tuple[Cue, ...]]) -> None:
        """Tell the session something and give at once what follows from it."""
        with self._lock:
            now_s = self.clock.now_s()
            # What was placed has been heard by now, whether this thread was in time or not.
            heard = [cue for cue in self._placed if cue.at_s - self._ahead_s <= now_s]
            for cue in self.session.due(now_s + self._ahead_s) if heard else ():
                self._give(cue)
            for cue in told(now_s):
                self._give(cue)
            self._look_ahead(now_s)
            self._woken.set()

    # What it is told.

    def acted(self, action: str, moment: Moment | None = None) -> None:
        """See :class:`Sink`; without a moment, it was done just now."""

        def told(now_s: float) -> tuple[Cue, ...]:
            return self.session.acted(action, moment or Moment(now_s, now_s), now_s)

        self._tell(told)

    def mark(self, event: str = "", moment: Moment | None = None) -> None:
        """See :class:`Sink`; no event named means the one that is waited for."""

        def told(now_s: float) -> tuple[Cue, ...]:
            name = event or self.session.awaited(now_s)
            at_s = moment.best_s if moment else now_s
            return self.session.mark(name, at_s, now_s, moment) if name else ()

        self._tell(told)

    def untrue(self, event: str) -> None:
        """A person told of an event just now that had not come; the attempt is lost."""
        self._tell(lambda now_s: self.session.untrue(event, now_s))

    def reading(self, name: str, value: float, at_s: float) -> None:
        """See :class:`Sink`."""
        self._tell(lambda _: self.session.reading(name, value, at_s))

    def seen_until(self, at_s: float) -> None:
        """See :class:`Sink`."""
        with self._lock:
            self.session.seen_until(at_s)

    def stop(self) -> None:
        """The big stop."""
        self._tell(self.session.stop)

    def void(self, why: str) -> None:
        """The attempt counts for nothing, and why."""
        self._tell(lambda now_s: self.session.void(why, now_s))

    # What a face shows.

    def allowed(self) -> tuple[Allowed, ...]:
        """When each action of the present stretch may be done. [s]"""
        with self._lock:
            return self.session.allowed()

    def awaited(self) -> str:
        """The event that the present step looks out for, empty for none."""
        with self._lock:
            return self.session.awaited(self.clock.now_s())

    def progress(self) -> Progress:
        """Where the attempt is now."""
        with self._lock:
            return self.session.progress(self.clock.now_s())
