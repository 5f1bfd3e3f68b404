"""Whose turn it is, where each parameter is a question of its own, as on a K line."""

import math
from collections.abc import Collection, Mapping

from bellmouth.learning.evidence import RUNS_RPM

__all__ = ["WISHES_S", "Turns"]

#: How soon each is asked again, and when it must have been: the supply and the vehicle's speed as
#: often as a condition wants them that stood throughout (a break of a second, of two, must not
#: hide). The pedal's turn is every other one at least. [s]
WISHES_S: Mapping[str, tuple[float, float]] = {
    "control_module_voltage": (0.6, 0.95),
    "vehicle_speed": (1.2, 1.9),
    "engine_speed": (1.8, 2.5),
    "engine_coolant_temperature": (20.0, 40.0),
}
#: After a long hold somebody may start the engine, in a window of a few seconds: for so long its
#: speed is asked for as often as may be; and once the pedal has rested for longer than the waits
#: between presses last. [s]
_HOLD_S, _START_S, _RESTED_S = 5.0, 6.0, 8.5
_OFTEN_S = (0.2, 0.9)
#: A pedal this far from its rest is down; every sensor's travel is more. [points]
_DOWN = 12.0


class Turns:
    """The pedal's turn is every one that no other parameter needs, and every other one at least.

    A question that is not the pedal's doubles the gap between two of its samples, and so what is
    left open of when it moved. A car that keeps silent is asked for the pedal alone, so that its
    first answer is the pedal's.

    Parameters
    ----------
    pedal
        The pedal's parameter, or None where the car reports none.
    others
        Names of :data:`WISHES_S` that it reports; one at least where there is no pedal.
    """

    def __init__(self, pedal: str | None, others: Collection[str]) -> None:
        self._pedal = pedal
        self._asked_s = {name: -math.inf for name in WISHES_S if name in others}
        self._was_pedal = False
        self._rest, self._down_s = math.inf, math.inf
        self._start_until_s = -math.inf
        self._moved_s = math.inf  # when the pedal was last away from its rest, or the car woke
        self._runs = False

    def next(self, now_s: float) -> str:
        """Whose turn it is now. [s]"""
        due = self._most_pressing(now_s)
        if self._pedal is not None and (due is None or not self._was_pedal):
            self._was_pedal = True
            return self._pedal
        due = due or min(self._asked_s, key=self._asked_s.__getitem__)
        self._was_pedal = False
        self._asked_s[due] = now_s
        return due

    def _most_pressing(self, now_s: float) -> str | None:
        """Whoever is wanted again and must be read soonest; nobody while the car is silent."""
        wanted = {
            name: asked_s + self._wish_s(name, now_s)[1]
            for name, asked_s in self._asked_s.items()
            if now_s >= asked_s + self._wish_s(name, now_s)[0]
        }
        return min(wanted, key=wanted.__getitem__, default=None)

    def _wish_s(self, name: str, now_s: float) -> tuple[float, float]:
        if name != "engine_speed" or self._runs:
            return WISHES_S[name]
        often = now_s < self._start_until_s or now_s > self._moved_s + _RESTED_S
        return _OFTEN_S if often else WISHES_S[name]

    def silent(self) -> None:
        """Nobody answered: the pedal comes first until somebody does."""
        self._asked_s = dict.fromkeys(self._asked_s, math.inf)

    def woke(self, at_s: float) -> None:
        """The car answers again, and nothing else has been read since. [s]"""
        self._moved_s, self._runs = at_s, False
        self._asked_s = dict.fromkeys(self._asked_s, -math.inf)
        self._start_until_s = -math.inf

    def read(self, name: str, value: float, at_s: float) -> None:
        """What was read, in the parameter's own unit: what comes next follows from it. [s]"""
        if name == self._pedal:
            self._rest = min(self._rest, value)
            self._moved_s = at_s if math.isinf(self._moved_s) else self._moved_s
            if value >= self._rest + _DOWN:
                self._down_s, self._moved_s = min(self._down_s, at_s), at_s
                return
            if at_s - self._down_s >= _HOLD_S:
                self._start_until_s = at_s + _START_S
            self._down_s = math.inf
        elif name == "engine_speed":
            self._runs = value >= RUNS_RPM
            if self._runs:
                self._start_until_s = -math.inf
