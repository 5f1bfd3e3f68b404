"""Watching a real car while an attempt runs: asks it again and again and tells the coach."""

import threading
from collections.abc import Callable, Iterator, Sequence
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

__all__ = ["CarObserver"]

_SLOW = ("control_module_voltage", "engine_coolant_temperature", "vehicle_speed")
#: In turn, one beside each question for the pedal, where a request holds one parameter: the supply
#: more than once a second, so that no dip of a second hides. Too seldom for a lamp that blinks.
_IN_TURN = (
    "engine_speed", "control_module_voltage", "engine_coolant_temperature",
    "engine_speed", "control_module_voltage", "vehicle_speed",
)  # fmt: skip
#: Between two questions, together and one by one; less than the car needs between two answers. [s]
_ROUND_S, _QUESTION_S = 0.1, 0.15


class CarObserver:
    """Asks for pedal, engine speed and lamp all the time, and for conditions in turn.

    On a K line, where each parameter is a question of its own, every other one is the pedal's, each
    value has its own time, and the lamp is left to the person's eyes.

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
        self._pedal = pedal
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
        rounds = cycle(self._rounds())
        while not is_done():
            asked = next(rounds)
            asked_s = clock.now_s()
            try:
                sample = self._client.read(asked)
            except BusError as error:
                self.failure = error
                self._failed(error)
                return
            if sample.source is None:
                reader.silent(asked_s)
                self.samples.unanswered(asked_s)
            else:
                self._tell(reader, clock, sample)

    def _rounds(self) -> Sequence[tuple[int, ...]]:
        """What is asked together, round after round."""
        if not self._alone:
            return [(*self._fast, one) for one in self._slow] or [self._fast]
        rest = [name for name in _IN_TURN if name in self._names]
        turns = [name for one in rest for name in (self._pedal, one)] or [self._pedal]
        return [(by_name(name).identifier,) for name in turns if name]

    def _tell(self, reader: LiveReader, clock: Clock, sample: Sample) -> None:
        at_s = clock.reading_s(sample.time_s)
        for name, value in sample.values.items():
            if value is not None and name in self._names:
                reader.sample(name, value, at_s)
                self.samples.add(name, value, at_s)
        reader.told_until(at_s)
