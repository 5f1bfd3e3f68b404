"""Practising a procedure at a desk: the keys of a keyboard are key, pedal and starter.

A terminal does not tell when a key is let go, so each tap moves the pedal the other way: down, up,
down. The light practice car's own learning logic says in the end whether it took.
"""

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager

from bellmouth.learning.clock import Clock
from bellmouth.learning.coach import Sink
from bellmouth.learning.live import LiveReader
from bellmouth.learning.procedure import Procedure
from bellmouth.learning.samples import Samples
from bellmouth.practice.ignition import Key
from bellmouth.practice.light_car import LightCar
from bellmouth.practice.verdicts import Verdict
from bellmouth.recording.series import Recording

__all__ = ["KEYS", "Desk"]

#: What each key does.
KEYS: Mapping[str, str] = {
    " ": "pedal: down, and with the next tap up again",
    "k": "key: on, and with the next tap off",
    "s": "start the engine",
}
_LOOK_S = 0.02
#: Taps closer than this, so many in a row, are a space bar that is held down. [s]
_REPEAT_S, _REPEATS = 0.06, 4


class Desk:
    """A light car under somebody's fingers; what it shows is watched as a real one's signals.

    Its key is off, unless the procedure begins with turning it off.

    Attributes
    ----------
    watched, samples
        What the coach is shown of the person, and what a recorder would have kept.
    """

    def __init__(
        self, clock: Clock, car: LightCar | None = None, procedure: Procedure | None = None
    ) -> None:
        self.watched = frozenset({"key", "pedal", "engine"})
        self._car = car or LightCar()
        first = procedure.steps[0] if procedure is not None else None
        if first is not None and (first.who, first.do) == ("key", "off"):
            self._car.do("key", Key.ON)  # else whoever taps at the call would turn it on
        self._clock = clock
        self._began_s = clock.now_s()
        self.samples = Samples(self._began_s)
        self._lock = threading.RLock()
        self._down = False
        self._tapped_s = -1.0
        self._repeats = 0

    def press_key(self, key: str) -> str:
        """Do what a key stands for, now; gives a warning for a held space bar, else nothing."""
        with self._lock:
            at_s = self._clock.now_s() - self._began_s
            self._car.advance(at_s)
            if key == " ":
                return self._tap(at_s)
            if key == "k":
                off = self._car.controls.key == Key.OFF
                self._car.do("key", Key.ON if off else Key.OFF, at_s)
            elif key == "s":
                self._car.do("key", Key.START, at_s)
        return ""

    def _tap(self, at_s: float) -> str:
        self._repeats = self._repeats + 1 if at_s - self._tapped_s < _REPEAT_S else 0
        self._tapped_s = at_s
        self._down = not self._down
        self._car.do("pedal_pct", 100.0 if self._down else 0.0, at_s)
        if self._repeats >= _REPEATS:
            return "Tap the space bar, do not hold it: one tap down, one tap up."
        return ""

    def status(self, say: Callable[[str], str] = str) -> str:
        """Lamp, pedal and key in a line, as somebody in the car would see them.

        ``say`` tells a word in another language.
        """
        with self._lock:
            seen = self._car.seen()
        shape = {"off": "○", "on": "●", "blinking": "◐"}[seen.lamp]
        told = [
            say("Lamp {lamp}").format(lamp=f"{shape} {say(seen.lamp)}"),
            say("pedal {pedal}").format(
                pedal=f"▼ {say('down')}" if self._down else f"▲ {say('up')}"
            ),
            say("key on") if seen.key >= Key.ON else say("key off"),
            say("engine running") if seen.running else say("engine stopped"),
        ]
        return "   ".join([*told, *([say("the plate whirrs")] if seen.plate_heard else [])])

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """What the learning logic thought of every go."""
        return self._car.verdicts

    def recording(self) -> Recording | None:
        """What a recorder would have kept."""
        return self.samples.recording("practice")

    @contextmanager
    def watching(self, sink: Sink, clock: Clock) -> Iterator[None]:
        """See :class:`bellmouth.learning.coach.Observer`; the car runs on while it is entered."""
        done = threading.Event()
        reader = LiveReader(sink, _LOOK_S)

        def work() -> None:
            while not done.is_set():
                clock.wait(clock.now_s() + _LOOK_S, done)
                self._look(reader, clock.now_s())

        thread = threading.Thread(target=work, name="practice desk", daemon=True)
        thread.start()
        try:
            yield
        finally:
            done.set()
            thread.join()

    def _look(self, reader: LiveReader, now_s: float) -> None:
        with self._lock:
            self._car.advance(now_s - self._began_s)
            poll = self._car.poll()
        if poll.values is None:
            reader.silent(now_s)
            return
        for name, value in poll.values.items():
            reader.sample(name, value, now_s)
            self.samples.add(name, value, now_s)
        reader.told_until(now_s)
