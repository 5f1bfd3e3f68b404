"""Idle relearned by idling, after the battery was off: a timed automaton."""

from collections.abc import Callable, Mapping
from typing import Literal

from bellmouth.practice.verdicts import Effect, Event, Log, Senses, Window

__all__ = ["IdleRelearning"]

_NAME = "idle_relearn"
_WARM_C = 60.0
_LOAD = 0.05


class IdleRelearning:
    """Key on and wait, start without the pedal, idle long and warm, key off to store.

    Parameters
    ----------
    windows, log
        As for the others.
    wanted
        Whether idle has been forgotten: only then does the controller do this.
    begin, keep, drop
        What happens when idle is learned, when that is stored, and when it is not.
    """

    def __init__(
        self, windows: Mapping[str, Window], log: Log, wanted: Callable[[], bool], begin: Effect,
        keep: Effect, drop: Effect,
    ) -> None:  # fmt: skip
        self._w, self._log = windows, log
        self._wanted, self._begin, self._keep, self._drop = wanted, begin, keep, drop
        self._state: Literal["asleep", "on", "idling", "learned", "storing", "lost"] = "asleep"
        self._since_s = 0.0

    def on(self, event: Event, s: Senses) -> None:
        """See :class:`Machine`."""
        if event == "on":
            if self._state == "storing":
                self._refuse("store", s, "off")
            self._state = "on" if self._wanted() else "asleep"
            self._since_s = s.now_s
        elif event == "start" and self._state == "on":
            self._started(s)
        elif event == "running" and self._state == "idling":
            self._since_s = s.now_s
        elif event in {"touch", "press"} and self._state in {"on", "idling"}:
            self._touched(s)
        elif event == "stopped" and self._state == "idling":
            self._refuse("idle", s, "idle")
        elif event == "off":
            self._key_off(s)

    def _started(self, s: Senses) -> None:
        if self._w[f"{_NAME}.on"].holds(s.now_s - self._since_s):
            self._state, self._since_s = "idling", s.now_s
        else:
            self._refuse("on", s, "on")

    def _touched(self, s: Senses) -> None:
        # With the engine off a pedal may be meant for another procedure.
        if self._state == "idling":
            self._refuse("pedal touched", s)
        self._state = "lost"

    def _key_off(self, s: Senses) -> None:
        if self._state == "idling":
            self._refuse("idle", s, "idle")
        self._state = "storing" if self._state == "learned" else "asleep"
        self._since_s = s.now_s

    def _refuse(self, step: str, s: Senses, window: str | None = None) -> None:
        found = self._w[f"{_NAME}.{window}"] if window else None
        measured = s.now_s - self._since_s if window else None
        if self._state == "storing":
            self._drop()
        self._log.refused(_NAME, step, s.now_s, measured, found)
        self._state = "lost"

    def tick(self, s: Senses) -> None:
        """See :class:`Machine`."""
        if self._state == "idling":
            if s.load > _LOAD:
                self._refuse("loads", s)
            elif s.running and s.coolant_c >= _WARM_C and self._long_enough(s):
                self._state = "learned"
                self._begin()
        elif self._state == "storing" and self._w[f"{_NAME}.off"].holds(s.now_s - self._since_s):
            self._state = "asleep"
            self._keep()
            self._log.met(_NAME, "store", s.now_s)

    def _long_enough(self, s: Senses) -> bool:
        return self._w[f"{_NAME}.idle"].holds(s.now_s - self._since_s)

    def power_lost(self, s: Senses) -> None:
        """See :class:`Machine`."""
        if self._state == "storing":
            self._refuse("store", s, "off")
        self._state = "asleep"
