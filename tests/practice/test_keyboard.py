"""The keys, and a terminal to type them in."""

import os
import sys
import termios
import time

import pytest

from bellmouth.errors import BusError
from bellmouth.practice.keyboard import KEYS, Keyboard

PATIENCE_S = 10.0


class Car:
    def __init__(self) -> None:
        self.done: list[tuple[str, float]] = []

    def do(self, control: str, value: float, at_s: float | None = None) -> None:
        assert at_s is None
        self.done.append((control, value))


def test_keys_move_the_controls() -> None:
    car, said = Car(), list[str]()
    keyboard = Keyboard(car, said.append)
    for key in "ks1++-0l?":
        keyboard.press(key)
    assert car.done == [
        ("key", 2.0), ("key", 3.0), ("hold_rpm", 1500.0),
        ("hold_rpm", 0.0), ("pedal_pct", 2.0), ("hold_rpm", 0.0), ("pedal_pct", 4.0),
        ("hold_rpm", 0.0), ("pedal_pct", 2.0), ("hold_rpm", 0.0), ("pedal_pct", 0.0),
        ("load", 1.0),
    ]  # fmt: skip
    assert said[0] == "key on"
    assert said[4] == "more pedal (4 %)"
    assert len(said) == 8


def test_every_key_does_something() -> None:
    for key in KEYS:
        car = Car()
        Keyboard(car).press(key)
        assert car.done, key


def test_keys_are_taken_from_a_terminal_as_they_are_typed(monkeypatch: pytest.MonkeyPatch) -> None:
    ours, theirs = os.openpty()
    car = Car()
    with os.fdopen(theirs, "r") as terminal:
        monkeypatch.setattr(sys, "stdin", terminal)
        before = termios.tcgetattr(terminal)
        with Keyboard(car).listening():
            os.write(ours, b"ks")
            deadline = time.monotonic() + PATIENCE_S
            while len(car.done) < 2 and time.monotonic() < deadline:
                time.sleep(0.01)
        assert car.done == [("key", 2.0), ("key", 3.0)]
        assert termios.tcgetattr(terminal) == before
    os.close(ours)


def test_without_a_terminal_there_is_no_keyboard(monkeypatch: pytest.MonkeyPatch) -> None:
    read, write = os.pipe()
    with os.fdopen(read) as pipe:
        monkeypatch.setattr(sys, "stdin", pipe)
        with pytest.raises(BusError, match="--driver keyboard needs a terminal to type in"):
            Keyboard(Car()).listening().__enter__()
    os.close(write)
