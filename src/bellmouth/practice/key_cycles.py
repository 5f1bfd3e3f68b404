"""Learning by the key alone: released pedal, closed plate, and adaptation with the key left on.

Timed automata. The plate moves by itself in two of them, which is what the mechanic listens for.
"""

from collections.abc import Mapping
from math import inf

from bellmouth.practice.ignition import Key
from bellmouth.practice.verdicts import Effect, Event, Log, Senses, Window

__all__ = ["ClosedPosition", "KeyOnAdaptation", "PedalReleased"]

_LEAST_V = 12.4  # with the engine stopped
_PATTERN_PRESSES = 3  # so many full presses are another procedure, not a foot left on the pedal


class _Cycle:
    """What all three keep of the present turn of the key."""

    def __init__(self, windows: Mapping[str, Window], log: Log) -> None:
        self._w, self._log = windows, log
        self._on_s: float | None = None
        self._off_s = -inf
        self._touched = False
        self._presses = 0
        self._ran = False
        self._weak = False

    def _note(self, event: Event, s: Senses) -> None:
        if event == "on":
            self._on_s, self._touched, self._presses, self._ran = s.now_s, False, 0, False
            self._weak = False
        elif event == "off":
            self._off_s = s.now_s
        elif event == "touch":
            self._touched = True
        elif event == "press":
            self._presses += 1
        elif event == "start":
            self._ran = True

    def _watch_supply(self, s: Senses) -> None:
        if s.voltage_v < _LEAST_V and s.key >= Key.ON and not (s.running or s.cranking):
            self._weak = True

    @property
    def _another(self) -> bool:
        """Whether this turn of the key is evidently meant for something else."""
        return self._ran or self._presses >= _PATTERN_PRESSES


class PedalReleased(_Cycle):
    """Key on and off twice with the foot away: what the pedal reads then is its released end."""

    _NAME = "pedal_released"

    def __init__(self, windows: Mapping[str, Window], log: Log, keep: Effect) -> None:
        super().__init__(windows, log)
        self._keep = keep
        self._good = 0
        self._waiting = False

    def on(self, event: Event, s: Senses) -> None:
        """See :class:`Machine`."""
        if event == "on":
            self._begin(s)
        elif event == "off" and self._on_s is not None:
            self._end(s)
        elif event == "start" and self._good:
            self._refuse("engine started", s)
        self._note(event, s)

    def _begin(self, s: Senses) -> None:
        gone, off, again = s.now_s - self._off_s, self._w[f"{self._NAME}.off"], self._again()
        if self._waiting and not off.holds(gone):
            self._refuse("off", s, gone, off)
        elif self._good and not again.holds(gone - off.least):
            self._good = 0
        self._waiting = False

    def _again(self) -> Window:
        return self._w[f"{self._NAME}.again"]

    def _end(self, s: Senses) -> None:
        lasted, on = s.now_s - (self._on_s or 0.0), self._w[f"{self._NAME}.on"]
        if self._another:
            self._good = 0
        elif self._touched or self._weak:
            self._refuse("pedal touched" if self._touched else "voltage", s)
        elif not on.holds(lasted):
            self._refuse("on", s, lasted, on)
        else:
            self._waiting = True

    def _refuse(
        self, step: str, s: Senses, measured: float | None = None, window: Window | None = None
    ) -> None:
        self._good, self._waiting = 0, False
        self._log.refused(self._NAME, step, s.now_s, measured, window)

    def power_lost(self, s: Senses) -> None:
        """See :class:`Machine`."""
        if self._waiting or self._good:
            self._refuse("off", s, s.now_s - self._off_s, self._w[f"{self._NAME}.off"])

    def tick(self, s: Senses) -> None:
        """See :class:`Machine`."""
        self._watch_supply(s)
        if self._waiting and self._w[f"{self._NAME}.off"].holds(s.now_s - self._off_s):
            self._waiting = False
            self._good += 1
            if self._good == 2:
                self._good = 0
                self._keep()
                self._log.met(self._NAME, "off", s.now_s)


class ClosedPosition(_Cycle):
    """After the key is off the plate is driven to its stop, and where that is, is written down."""

    _NAME = "closed_position"

    def __init__(self, windows: Mapping[str, Window], log: Log, keep: Effect) -> None:
        super().__init__(windows, log)
        self._keep = keep
        self._waiting = False

    def on(self, event: Event, s: Senses) -> None:
        """See :class:`Machine`."""
        off, on = self._w[f"{self._NAME}.off"], self._w[f"{self._NAME}.on"]
        if event == "on" and self._waiting:
            self._waiting = False
            self._log.refused(self._NAME, "off", s.now_s, s.now_s - self._off_s, off)
        elif event == "off" and self._on_s is not None:
            lasted = s.now_s - self._on_s
            touched = self._touched and not self._another
            if touched or self._weak:
                step = "pedal touched" if touched else "voltage"
                self._log.refused(self._NAME, step, s.now_s)
            elif not on.holds(lasted):
                self._log.refused(self._NAME, "on", s.now_s, lasted, on)
            else:
                self._waiting = True
        self._note(event, s)

    def power_lost(self, s: Senses) -> None:
        """See :class:`Machine`."""
        if self._waiting:
            self._waiting = False
            gone, off = s.now_s - self._off_s, self._w[f"{self._NAME}.off"]
            self._log.refused(self._NAME, "off", s.now_s, gone, off)

    def moving_s(self, now_s: float) -> float | None:
        """How long the plate has been moving by itself; None while it rests. [s]"""
        moves = self._w[f"{self._NAME}.cycle"]
        gone = now_s - self._off_s
        return gone - moves.least if self._waiting and moves.holds(gone) else None

    def tick(self, s: Senses) -> None:
        """See :class:`Machine`."""
        self._watch_supply(s)
        if self._waiting and self._w[f"{self._NAME}.off"].holds(s.now_s - self._off_s):
            self._waiting = False
            self._keep()
            self._log.met(self._NAME, "off", s.now_s)


class KeyOnAdaptation(_Cycle):
    """Key on and nothing touched until the plate cycles by itself; then off, to store."""

    _NAME = "key_on_adaptation"

    def __init__(self, windows: Mapping[str, Window], log: Log, keep: Effect) -> None:
        super().__init__(windows, log)
        self._keep = keep
        self._gone_s = inf
        self._fault: str | None = None
        self._storing = False

    def _window(self, step: str) -> Window:
        return self._w[f"{self._NAME}.{step}"]

    def on(self, event: Event, s: Senses) -> None:
        """See :class:`Machine`."""
        if event == "on":
            gone = s.now_s - self._off_s
            if self._storing:
                self._storing = False
                self._log.refused(self._NAME, "store", s.now_s, gone, self._window("off"))
            self._gone_s, self._fault = gone, None
        elif event == "off" and self._on_s is not None:
            self._end(s)
        elif event in {"touch", "start"} and self._fault is None:
            self._fault = "pedal touched" if event == "touch" else "engine started"
        self._note(event, s)

    def _waited(self, s: Senses) -> float:
        return s.now_s - (self._on_s or 0.0)

    def _done(self, s: Senses) -> bool:
        whole = self._window("on").least + self._window("cycle").least
        return self._waited(s) >= whole

    def _end(self, s: Senses) -> None:
        waited, on, before = self._waited(s), self._window("on"), self._window("off_before")
        # A key that was on for much less was meant for something else.
        meant = waited >= 0.6 * on.least and not self._another
        if self._fault is None and self._done(s) and before.holds(self._gone_s):
            self._storing = True
        elif not meant:
            return
        elif not before.holds(self._gone_s):
            self._log.refused(self._NAME, "off before", s.now_s, self._gone_s, before)
        elif self._fault is not None:
            self._log.refused(self._NAME, self._fault, s.now_s)
        elif not on.holds(waited):
            self._log.refused(self._NAME, "on", s.now_s, waited, on)
        else:
            cycle = self._window("cycle")
            self._log.refused(self._NAME, "cycle", s.now_s, waited - on.least, cycle)

    def moving_s(self, now_s: float) -> float | None:
        """How long the plate has been moving by itself; None while it rests. [s]"""
        if self._on_s is None or self._on_s < self._off_s or self._fault is not None:
            return None
        into = now_s - self._on_s - self._window("on").least
        ready = self._window("off_before").holds(self._gone_s) and not self._ran
        return into if ready and 0.0 <= into < self._window("cycle").least else None

    def tick(self, s: Senses) -> None:
        """See :class:`Machine`."""
        if self._storing:
            if self._window("off").holds(s.now_s - self._off_s):
                self._storing = False
                self._keep()
                self._log.met(self._NAME, "store", s.now_s)
        elif self._on_s is not None and self._on_s > self._off_s and self._fault is None:
            self._check(s)

    def _check(self, s: Senses) -> None:
        if self._done(s):
            return
        if not 5.0 <= s.coolant_c <= 95.0:
            self._fault = "coolant"
        elif not 5.0 <= s.intake_c <= 95.0:
            self._fault = "intake"
        elif s.voltage_v < 11.5:
            self._fault = "voltage"
        elif s.road_kmh >= 0.5:
            self._fault = "speed"

    def power_lost(self, s: Senses) -> None:
        """See :class:`Machine`."""
        if self._storing:
            self._storing = False
            gone = s.now_s - self._off_s
            self._log.refused(self._NAME, "store", s.now_s, gone, self._window("off"))
