"""The learning logic inside the practice car's engine controller.

Each procedure is a timed automaton that takes only when every window is met and its conditions
held. They know nothing of any coach or judge; tests take their verdicts as the truth. The
procedures are brand-free: common practice, no source.
"""

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, Literal

from bellmouth.practice.idle_relearning import IdleRelearning
from bellmouth.practice.ignition import Key
from bellmouth.practice.key_cycles import ClosedPosition, KeyOnAdaptation, PedalReleased
from bellmouth.practice.pedal_pattern import PedalPattern
from bellmouth.practice.verdicts import (
    FULL_PCT,
    REST_PCT,
    TOUCH_PCT,
    Event,
    Log,
    Machine,
    Senses,
    Verdict,
    Window,
    windows,
)

__all__ = ["BLINK_S", "Effects", "Learned", "LearningLogic"]

#: The lamp blinks with this period, half of it lit. [s]
BLINK_S = 1.0
#: After key off the controller keeps its own power for so long, to write down what it learned.
POWER_HOLD_S = 10.0
_LEARNS_S = 60.0  # idle control learns quickly for so long, if the engine is left idling


@dataclass
class Learned:
    """What the controller has learned and keeps without ignition, but not without battery.

    Attributes
    ----------
    pedal_released_pct
        Pedal reading taken as released; None is not learned. [%]
    closed_position_pct
        Throttle reading taken as closed; None is not learned. [%]
    idle
        Whether idle air has been learned since power was lost.
    """

    pedal_released_pct: float | None = 0.0
    closed_position_pct: float | None = 0.0
    idle: bool = True

    def missing(self) -> str | None:
        """What idle-air learning still waits for."""
        if self.pedal_released_pct is None:
            return "released position"
        return "closed position" if self.closed_position_pct is None else None

    def kept(self) -> dict[str, Any]:
        """As plain values."""
        return asdict(self)

    @classmethod
    def restored(cls, kept: Mapping[str, Any]) -> "Learned":
        """From plain values."""
        return cls(**{f.name: kept[f.name] for f in fields(cls) if f.name in kept})


@dataclass(frozen=True)
class Effects:
    """What learning does to the car.

    ``learn_idle`` lets idle control learn for so many seconds; ``reset`` erases codes, trims
    and readiness; ``store`` writes down what has been learned; ``closed_pct`` reads the plate
    at its stop; ``unlearn_idle`` goes back to what was before ``learn_idle``.
    """

    learn_idle: Callable[[float], None]
    reset: Callable[[], None]
    store: Callable[[], None]
    closed_pct: Callable[[], float]
    unlearn_idle: Callable[[], None] = lambda: None


class LearningLogic:
    """All procedures of one controller, stepped tick by tick.

    Attributes
    ----------
    learned
        What it knows.
    """

    def __init__(
        self,
        learned: Learned,
        effects: Effects,
        allowed: Mapping[str, Window] | None = None,
    ) -> None:
        self.learned = learned
        self._effects = effects
        self._log = Log()
        self._was = Senses()
        self._pressed = self._touched = False
        self._off_s: float | None = None
        w = dict(windows()) | dict(allowed or {})
        self._pattern = PedalPattern(
            w, self._log, self._missing, effects.reset,
            lambda: effects.learn_idle(_LEARNS_S), self._idle_learned, effects.unlearn_idle,
        )  # fmt: skip
        self._closed = ClosedPosition(w, self._log, self._position_learned)
        self._key_on = KeyOnAdaptation(w, self._log, self._position_learned)
        self._idling = IdleRelearning(
            w, self._log, lambda: not self.learned.idle,
            lambda: effects.learn_idle(_LEARNS_S), self._idle_learned, effects.unlearn_idle,
        )  # fmt: skip
        self._released = PedalReleased(w, self._log, self._pedal_learned)
        self._machines: tuple[Machine, ...] = (
            self._pattern, self._released, self._closed, self._key_on, self._idling,
        )  # fmt: skip

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """What it thought of every go so far."""
        return tuple(self._log.verdicts)

    @property
    def lamp(self) -> Literal["blinking", "on"] | None:
        """What a procedure commands the lamp to; None where none does."""
        return self._pattern.lamp

    def lit(self, now_s: float) -> bool | None:
        """Whether a procedure's lamp is lit at this instant; None where none commands it."""
        if self._pattern.lamp != "blinking":
            return None if self._pattern.lamp is None else True
        return (now_s - self._pattern.lamp_since_s) % BLINK_S < 0.5 * BLINK_S

    def plate_pct(self, now_s: float) -> float | None:
        """Where learning moves the plate by itself, in per cent of full; None where it does not."""
        moving = self._closed.moving_s(now_s)
        if moving is None:
            moving = self._key_on.moving_s(now_s)
        if moving is None:
            return None
        # Shut, a little open, shut: heard as a whirr.
        return 0.0 if int(moving / 0.5) % 2 == 0 else 8.0

    def tick(self, s: Senses) -> None:
        """Move on to these senses."""
        for event in self._events(s):
            for machine in self._machines:
                if event == "on":
                    machine.tick(s)  # a wait that ends at this very instant has been waited
                machine.on(event, s)
        for machine in self._machines:
            machine.tick(s)
        self._hold_power(s)
        was = self._was
        was.key, was.running, was.cranking = s.key, s.running, s.cranking

    def _events(self, s: Senses) -> list[Event]:
        was, events = self._was, list[Event]()
        if s.key >= Key.ON > was.key:
            events.append("on")
        if s.key >= Key.ON:
            events += self._pedal(s)
        if s.cranking and not was.cranking:
            events.append("start")
        if s.running and not was.running:
            events.append("running")
        if was.running and not s.running:
            events.append("stopped")
        if s.key < Key.ON <= was.key:
            events.append("off")
            # A foot still on the pedal is news again at the next key on.
            self._touched = self._pressed = False
        return events

    def _pedal(self, s: Senses) -> list[Event]:
        events: list[Event] = []
        if not self._touched and s.pedal_pct > TOUCH_PCT:
            self._touched = True
            events.append("touch")
        if not self._pressed and s.pedal_pct >= FULL_PCT:
            self._pressed = True
            events.append("press")
        if self._pressed and s.pedal_pct <= REST_PCT:
            self._pressed = False
            events.append("release")
        if self._touched and s.pedal_pct <= TOUCH_PCT:
            self._touched = False
        return events

    def _hold_power(self, s: Senses) -> None:
        """Some time after key off everything is written down, and power is let go."""
        if s.key >= Key.ON:
            self._off_s = None
        elif self._was.key >= Key.ON:
            self._off_s = s.now_s
        elif self._off_s is not None and s.now_s - self._off_s >= POWER_HOLD_S:
            self._off_s = None
            self._effects.store()

    def _missing(self) -> str | None:
        return self.learned.missing()

    def _pedal_learned(self) -> None:
        self.learned.pedal_released_pct = 0.0

    def _position_learned(self) -> None:
        self.learned.closed_position_pct = self._effects.closed_pct()

    def _idle_learned(self) -> None:
        self.learned.idle = True

    def power_lost(self, s: Senses) -> None:
        """The battery was taken off: what was being written is lost, and all that was learned."""
        for machine in self._machines:
            machine.power_lost(s)
        self._off_s = None
        self.learned = Learned(None, None, idle=False)
