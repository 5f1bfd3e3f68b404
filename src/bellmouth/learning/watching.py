"""Watching a real car while an attempt runs: asks it again and again and tells the coach."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import cycle

from bellmouth.bus.client import Client
from bellmouth.bus.reports import Sample
from bellmouth.errors import BusError
from bellmouth.j1979.parameters import by_name
from bellmouth.learning.clock import Clock
from bellmouth.learning.coach import Sink
from bellmouth.learning.live import PEDALS, LiveReader
from bellmouth.learning.samples import Samples
from bellmouth.learning.turns import Turns

__all__ = ["CarObserver"]

_SLOW = ("control_module_voltage", "engine_coolant_temperature", "vehicle_speed")
#: Between two questions, together and one by one; less than the car needs between two answers. [s]
_ROUND_S, _QUESTION_S = 0.1, 0.15


class CarObserver:
    """Asks for pedal, engine speed and lamp all the time, and for conditions in turn.

    On a K line, where each parameter is a question of its own, most are the pedal's, each value has
    its own time, and the lamp is left to the person's eyes.

    Parameters
    ----------
    client
        The conversation with the car.
    failed
        Told, from the watching thread, why it can watch no longer.

    Attributes
    ----------
    samples
        All that was read, for the judge.
    failure
        Why it stopped watching before its time, None where it did not.

    Raises
    ------
    BusError
        If the car reports neither pedal nor engine speed.
    """

    def __init__(self, client: Client, failed: Callable[[BusError], None] = lambda _: None) -> None:
        self._client = client
        self._failed = failed
        supported = client.controllers[0].supported
        self._names = {
            name
            for name in (*PEDALS, "engine_speed", "monitor_status", *_SLOW)
            if by_name(name).identifier in supported
        }
        pedal = next((name for name in PEDALS if name in self._names), None)
        fast = [pedal, "engine_speed", "monitor_status"]
        self._fast = tuple(by_name(name).identifier for name in fast if name in self._names)
        self._slow = [by_name(name).identifier for name in _SLOW if name in self._names]
        self._alone = client.most_parameters == 1
        self._turns = Turns(pedal, self._names)
        self._slow_turns = cycle(self._slow)
        if not self._fast:
            raise BusError(
                "This car reports neither pedal nor engine speed, so nobody can follow an attempt "
                "live; coach without --live and mark what you see."
            )
        # The bus falling silent shows the key, whatever else there is.
        self.watched = frozenset(
            {"key"}
            | ({"pedal"} if pedal else set())
            | ({"engine"} if "engine_speed" in self._names else set())
        )
        self.samples = Samples()
        self.failure: BusError | None = None

    def look(self) -> dict[str, float]:
        """What it reads once, for a look at the conditions before the start."""
        sample = self._client.read([*self._fast, *self._slow])
        return {name: value for name, value in sample.values.items() if value is not None}

    @contextmanager
    def watching(self, sink: Sink, clock: Clock) -> Iterator[None]:
        """See :class:`bellmouth.learning.coach.Observer`."""
        self.samples = Samples(clock.now_s())
        done = threading.Event()
        reader = LiveReader(sink, _QUESTION_S if self._alone else _ROUND_S)
        thread = threading.Thread(
            target=self._watch, args=(reader, clock, done.is_set), name="watching", daemon=True
        )
        thread.start()
        try:
            yield
        finally:
            done.set()
            thread.join()

    def _watch(self, reader: LiveReader, clock: Clock, is_done: Callable[[], bool]) -> None:
        unanswered_s: float | None = None
        while not is_done():
            asked_s = clock.now_s()
            asked = self._next(asked_s)
            try:
                sample = self._client.read(asked)
            except BusError as error:
                self.failure = error
                self._failed(error)
                return
            if sample.source is None:
                reader.silent(asked_s)
                self._turns.silent()
                unanswered_s = asked_s
                continue
            if unanswered_s is not None:
                woken = self._woken(clock, unanswered_s, sample)
                reader.woke(*woken)
                self.samples.woke(*woken)
                unanswered_s = None
            self._tell(reader, clock, sample)

    def _next(self, now_s: float) -> tuple[int, ...]:
        """What is asked together now. [s]"""
        if self._alone:
            return (by_name(self._turns.next(now_s)).identifier,)
        return (*self._fast, next(self._slow_turns)) if self._slow else self._fast

    def _woken(self, clock: Clock, unanswered_s: float, sample: Sample) -> tuple[float, float]:
        """Between which times a car woke that answers again, on the coach's clock. [s]"""
        low_s, high_s = unanswered_s, clock.reading_s(sample.time_s)
        self._turns.woke(high_s)
        woken = self._client.woken
        if woken is not None and clock.reading_s(woken.awake_s) > low_s:
            low_s = max(low_s, clock.reading_s(woken.asleep_s))
            high_s = min(high_s, clock.reading_s(woken.awake_s))
        return low_s, high_s

    def _tell(self, reader: LiveReader, clock: Clock, sample: Sample) -> None:
        at_s = clock.reading_s(sample.time_s)
        for name, value in sample.values.items():
            if value is not None and name in self._names:
                reader.sample(name, value, at_s)
                self.samples.add(name, value, at_s)
                self._turns.read(name, value, at_s)
        reader.told_until(at_s)
