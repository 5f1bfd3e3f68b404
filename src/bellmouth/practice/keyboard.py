"""Driving the practice car from the keyboard of a terminal."""

import os
import select
import sys
import termios
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Protocol

from bellmouth.errors import BusError

__all__ = ["KEYS", "Drivable", "Keyboard"]

KEYS = {
    "o": "key off",
    "a": "key to accessory",
    "k": "key on",
    "s": "start",
    "+": "more pedal",
    "-": "less pedal",
    "1": "hold 1,500 rpm",
    "2": "hold 2,500 rpm",
    "0": "foot off the pedal",
    "l": "loads on or off",
}

_PEDAL_STEP_PCT = 2.0
_POSITIONS = {"o": 0.0, "a": 1.0, "k": 2.0, "s": 3.0}
_HELD = {"1": 1500.0, "2": 2500.0}


class Drivable(Protocol):
    """A car whose controls can be moved."""

    def do(self, control: str, value: float, at_s: float | None = None) -> None:
        """Move a control, now unless a car time is given."""
        ...


class Keyboard:
    """One key after another; see :data:`KEYS`. ``say`` is told what was done."""

    def __init__(self, car: Drivable, say: Callable[[str], None] = lambda _: None) -> None:
        self._car = car
        self._say = say
        self._pedal_pct = 0.0
        self._loaded = False

    def press(self, key: str) -> None:
        """Do what a key stands for; nothing for any other key."""
        if key in _POSITIONS:
            self._car.do("key", _POSITIONS[key])
        elif key in "+-":
            step = _PEDAL_STEP_PCT if key == "+" else -_PEDAL_STEP_PCT
            self._press_pedal(min(max(self._pedal_pct + step, 0.0), 100.0))
        elif key in _HELD:
            self._car.do("hold_rpm", _HELD[key])
        elif key == "0":
            self._press_pedal(0.0)
        elif key == "l":
            self._loaded = not self._loaded
            self._car.do("load", float(self._loaded))
        if key in KEYS:
            pedal = f" ({self._pedal_pct:g} %)" if key in "+-" else ""
            self._say(f"{KEYS[key]}{pedal}")

    def _press_pedal(self, pct: float) -> None:
        self._pedal_pct = pct
        self._car.do("hold_rpm", 0.0)
        self._car.do("pedal_pct", pct)

    @contextmanager
    def listening(self) -> Iterator[None]:
        """Take keys from this terminal, without waiting for the line to be ended.

        Raises
        ------
        BusError
            If there is no terminal to take them from.
        """
        if not sys.stdin.isatty():
            raise BusError(
                "--driver keyboard needs a terminal to type in; start it in one, or choose another "
                "driver."
            )
        end = sys.stdin.fileno()
        before = termios.tcgetattr(end)
        done_r, done_w = os.pipe()
        thread = threading.Thread(target=self._read, args=(end, done_r), name="keyboard")
        try:
            tty.setcbreak(end)
            thread.start()
            yield
        finally:
            os.write(done_w, b"!")
            if thread.ident is not None:
                thread.join()
            termios.tcsetattr(end, termios.TCSADRAIN, before)
            os.close(done_r)
            os.close(done_w)

    def _read(self, end: int, done: int) -> None:
        while True:
            ready, _, _ = select.select([end, done], [], [])
            if done in ready:
                return
            typed = os.read(end, 64)
            if not typed:
                return
            for key in typed.decode("ascii", errors="ignore"):
                self.press(key)
