"""Memory reset and idle-air learning by pedal: one beginning, and the length of a hold decides.

A timed automaton: key on, five full presses, a wait, and a press that is held. Released while the
lamp blinks it goes on as the memory reset; released once the lamp stays on, as idle-air learning.
"""

from collections.abc import Callable, Mapping
from math import inf
from typing import Literal

from bellmouth.practice.verdicts import Effect, Event, Log, Senses, Window

__all__ = ["PedalPattern", "standing_fault"]

_RESET, _IDLE_AIR = "memory_reset", "idle_air"
_PRESSES = 5
_ENOUGH_TO_MEAN_IT = 3  # full presses; fewer are somebody trying the pedal
_OUT_OF_REACH_RPM = 100.0
_Lamp = Literal["blinking", "on"] | None
_State = Literal[
    "asleep", "armed", "pressing", "waiting", "holding", "status", "reset hold", "reset done",
    "off", "steady", "released", "idling", "lost",
]  # fmt: skip

#: Key off in these states: the step that it cuts short, its window, and whose it is.
_CUT_BY_KEY_OFF: Mapping[str, tuple[str, ...]] = {
    "holding": ("hold", "pattern.steady", _RESET, _IDLE_AIR),
    "status": ("second wait", "memory_reset.wait", _RESET),
    "reset hold": ("second hold", "memory_reset.hold", _RESET),
    "steady": ("release", "idle_air.release", _IDLE_AIR),
    "released": ("start", "idle_air.start", _IDLE_AIR),
    "idling": ("idle", "idle_air.idle", _IDLE_AIR),
}


def standing_fault(s: Senses) -> str | None:
    """The first condition of idle-air learning that does not hold now, None where all do."""
    if not 70.0 <= s.coolant_c <= 95.0:
        return "coolant"
    if s.voltage_v < (12.9 if s.running else 12.4) and not s.cranking:
        return "voltage"
    if s.load >= 0.05:
        return "loads"
    if s.road_kmh >= 0.5:
        return "speed"
    return "codes" if s.codes_stored else None


class PedalPattern:
    """Both procedures. ``lamp`` is what they command: blinking, on, or None to leave it.

    Parameters
    ----------
    windows
        By ``procedure.step``; see ``learning_windows.toml``.
    log
        Where verdicts go.
    prepared
        What is not yet learned without which idle air is not, None where nothing is missing.
    reset, begin_idle, keep_idle, drop_idle
        What happens when the memory reset takes, when idle is to be learned from now on, when
        that took, and when it did not.
    """

    def __init__(
        self,
        windows: Mapping[str, Window],
        log: Log,
        prepared: Callable[[], str | None],
        reset: Effect,
        begin_idle: Effect,
        keep_idle: Effect,
        drop_idle: Effect,
    ) -> None:
        self._w, self._log, self._prepared = windows, log, prepared
        self._reset, self._begin_idle = reset, begin_idle
        self._keep_idle, self._drop_idle = keep_idle, drop_idle
        self.lamp: _Lamp = None
        self.lamp_since_s = 0.0
        self._off_s = -inf
        self._sleep()

    def _sleep(self) -> None:
        self._state: _State = "asleep"
        self._since_s = 0.0
        self._first_s = 0.0
        self._count = 0
        self._fault: str | None = None
        self._reset_fault: str | None = None
        self._failure: tuple[str, float, Window] | None = None
        self._light(None, 0.0)

    def _light(self, lamp: _Lamp, now_s: float) -> None:
        self.lamp, self.lamp_since_s = lamp, now_s

    def _go(self, state: _State, now_s: float) -> None:
        self._state, self._since_s = state, now_s

    def _refuse(self, step: str, s: Senses, *procedures: str, window: str | None = None) -> None:
        measured = s.now_s - self._since_s
        if self._state == "idling":
            self._drop_idle()
        for one in procedures:
            found = self._w[window] if window else None
            self._log.refused(one, step, s.now_s, measured if window else None, found)
        self._go("lost", s.now_s)
        self._light(None, s.now_s)

    def on(self, event: Event, s: Senses) -> None:
        """See :class:`Machine`."""
        if event == "on":
            self._key_on(s)
        elif event == "off":
            self._key_off(s)
        elif event in {"press", "touch", "release"}:
            self._pedal(event, s)
        elif event == "start":
            self._started(s)
        elif self._state == "idling" and event == "running":
            self._go("idling", s.now_s)  # idling counts from the first firing
        elif self._state == "idling" and event == "stopped":
            self._refuse("idle", s, _IDLE_AIR, window="idle_air.idle")

    def _key_on(self, s: Senses) -> None:
        if self._state == "off":
            self._refuse("off", s, _RESET, window="memory_reset.off")
        self._sleep()
        self._go("armed", s.now_s)
        if not self._w["idle_air.off_before"].holds(s.now_s - self._off_s):
            self._fault = "off before"

    def _key_off(self, s: Senses) -> None:
        self._off_s = s.now_s
        if self._state == "reset done":
            self._go("off", s.now_s)
            self._light(None, s.now_s)
            return
        cut = _CUT_BY_KEY_OFF.get(self._state)
        if cut is None:
            self._give_up(s)
        else:
            step, window, *procedures = cut
            self._refuse(step, s, *procedures, window=window)
        self._sleep()

    def _give_up(self, s: Senses) -> None:
        """The key went off in the shared beginning: a go, if it was meant as one."""
        if self._failure or self._count < _ENOUGH_TO_MEAN_IT or self._state == "lost":
            return
        step = "presses" if self._state == "pressing" else "wait"
        self._refuse(step, s, _RESET, _IDLE_AIR, window=f"pattern.{step}")

    def _pedal(self, event: Event, s: Senses) -> None:
        match self._state, event:
            case "armed", "press":
                self._first_press(s)
            case "pressing", "press" | "release":
                self._pressed_again(event, s)
            case "waiting", "press":
                self._hold(s)
            case "holding" | "steady", "release":
                self._let_go(s)
            case "status", "press":
                self._second_hold(s)
            case "reset hold", "release":
                self._second_release(s)
            case "idling" | "released", "touch":
                self._refuse("pedal touched", s, _IDLE_AIR)
            case _:
                pass

    def _first_press(self, s: Senses) -> None:
        self._count = 1
        waited, window = s.now_s - self._since_s, self._w["pattern.first_press"]
        if not window.holds(waited):
            self._failure = ("first press", waited, window)
        self._first_s = s.now_s
        self._go("pressing", self._since_s)

    def _pressed_again(self, event: Event, s: Senses) -> None:
        if event == "press":
            self._count += 1
        if self._failure and self._count >= _ENOUGH_TO_MEAN_IT:
            step, measured, window = self._failure
            for one in (_RESET, _IDLE_AIR):
                self._log.refused(one, step, s.now_s, measured, window)
            self._go("lost", s.now_s)
        elif event == "release" and self._count == _PRESSES:
            took, window = s.now_s - self._first_s, self._w["pattern.presses"]
            if window.holds(took):
                self._go("waiting", s.now_s)
            else:
                self._since_s = self._first_s
                self._refuse("presses", s, _RESET, _IDLE_AIR, window="pattern.presses")

    def _hold(self, s: Senses) -> None:
        if self._w["pattern.wait"].holds(s.now_s - self._since_s):
            self._go("holding", s.now_s)
        else:
            self._refuse("wait", s, _RESET, _IDLE_AIR, window="pattern.wait")

    def _let_go(self, s: Senses) -> None:
        held = s.now_s - self._since_s
        if self._state == "steady":
            if self._w["idle_air.release"].holds(held):
                self._go("released", s.now_s)
            else:
                self._refuse("release", s, _IDLE_AIR, window="idle_air.release")
        elif held < self._w["pattern.blink"].least:
            self._refuse("hold", s, _RESET, _IDLE_AIR, window="pattern.blink")
        elif held < self._w["pattern.steady"].least:
            window = self._w["pattern.steady"]
            self._log.refused(_IDLE_AIR, "hold", s.now_s, held, window)
            self._reset_release(s)
        else:
            # Held long enough, yet the lamp never stayed on: too long for the one, and the other
            # lacks a condition.
            self._log.refused(_IDLE_AIR, self._fault or "conditions", s.now_s)
            self._reset_release(s)

    def _reset_release(self, s: Senses) -> None:
        """Released while the lamp blinks: soon enough after it began, it is the memory reset."""
        blinked, window = s.now_s - self.lamp_since_s, self._w["memory_reset.release"]
        if window.holds(blinked):
            self._go("status", s.now_s)
        else:
            self._since_s = self.lamp_since_s
            self._refuse("release", s, _RESET, window="memory_reset.release")

    def _second_hold(self, s: Senses) -> None:
        if self._w["memory_reset.wait"].holds(s.now_s - self._since_s):
            self._go("reset hold", s.now_s)
        else:
            self._refuse("second wait", s, _RESET, window="memory_reset.wait")

    def _second_release(self, s: Senses) -> None:
        if self._reset_fault is not None:
            self._refuse(self._reset_fault, s, _RESET)
        elif self._w["memory_reset.hold"].holds(s.now_s - self._since_s):
            self._go("reset done", s.now_s)
        else:
            self._refuse("second hold", s, _RESET, window="memory_reset.hold")

    def _started(self, s: Senses) -> None:
        if self._state == "released":
            if self._w["idle_air.start"].holds(s.now_s - self._since_s):
                self._go("idling", s.now_s)
                self._begin_idle()
            else:
                self._refuse("start", s, _IDLE_AIR, window="idle_air.start")
        elif self._state == "steady":
            self._refuse("release", s, _IDLE_AIR, window="idle_air.release")
        elif self._state == "holding":
            self._refuse("engine started", s, _RESET, _IDLE_AIR)
        elif self._state in {"status", "reset hold", "reset done"}:
            self._refuse("engine started", s, _RESET)
        elif self._state in {"armed", "pressing", "waiting"}:
            self._give_up(s)
            self._go("lost", s.now_s)

    def power_lost(self, s: Senses) -> None:
        """See :class:`Machine`."""
        if self._state == "off":
            self._refuse("off", s, _RESET, window="memory_reset.off")
        self._sleep()

    def tick(self, s: Senses) -> None:
        """See :class:`Machine`."""
        if self._state in {"asleep", "lost"}:
            return
        if self._fault is None and self._state not in {"off", "reset done"}:
            self._fault = standing_fault(s) or self._prepared()
        if self._reset_fault is None and not s.running:
            weak, moves = s.voltage_v < 12.4, s.road_kmh >= 0.5
            self._reset_fault = "voltage" if weak else "speed" if moves else None
        waited = s.now_s - self._since_s
        match self._state:
            case "waiting":
                if waited > self._w["pattern.wait"].most + 3.0:
                    self._refuse("wait", s, _RESET, _IDLE_AIR, window="pattern.wait")
            case "holding":
                self._keep_holding(waited, s)
            case "idling":
                self._keep_idling(waited, s)
            case "off":
                if self._w["memory_reset.off"].holds(waited):
                    self._reset()
                    self._log.met(_RESET, "off", s.now_s)
                    self._sleep()
            case _:
                pass

    def _keep_holding(self, held: float, s: Senses) -> None:
        if self.lamp is None and held >= self._w["pattern.blink"].least:
            self._light("blinking", s.now_s)
        if held >= self._w["pattern.steady"].least and self._fault is None:
            window = self._w["memory_reset.release"]
            blinked = s.now_s - self.lamp_since_s
            self._log.refused(_RESET, "release", s.now_s, blinked, window)
            self._go("steady", s.now_s)
            self._light("on", s.now_s)

    def _keep_idling(self, idled: float, s: Senses) -> None:
        if self._fault is not None:
            self._refuse(self._fault, s, _IDLE_AIR)
        elif s.running and self._w["idle_air.idle"].holds(idled):
            if s.idle_off_rpm > _OUT_OF_REACH_RPM:
                self._refuse("idle out of reach", s, _IDLE_AIR)
                return
            self._keep_idle()
            self._log.met(_IDLE_AIR, "idle", s.now_s)
            self._go("lost", s.now_s)
            self._light(None, s.now_s)
