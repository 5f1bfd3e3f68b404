"""Who sits in a practice car: a mechanic, somebody at the keyboard, a script, or nobody."""

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import Literal

from bellmouth.errors import CarError
from bellmouth.practice.ignition import Action
from bellmouth.practice.keyboard import Keyboard
from bellmouth.practice.live import PracticeCar
from bellmouth.practice.mechanic import Mechanic
from bellmouth.practice.person import Cue, Person
from bellmouth.practice.script import read_script

__all__ = ["Seat", "take_a_seat"]

Who = Literal["mechanic", "keyboard", "none", "script"]


class Seat:
    """A driver for one car, known before the car is built.

    ``who`` is the kind of driver; ``mechanic`` the one who reacts by himself, if it is he.
    """

    def __init__(self, who: Who, script: tuple[Action, ...] = ()) -> None:
        self.who = who
        self.mechanic = Mechanic(waits=True) if who == "mechanic" else None
        self._script = script

    def driving(self, car: PracticeCar, say: Callable[[str], None]) -> AbstractContextManager[None]:
        """While entered, the driver drives; ``say`` is told what the keyboard did.

        Raises
        ------
        BusError
            If the keyboard is wanted and there is no terminal.
        """
        if self.who == "keyboard":
            return Keyboard(car, say).listening()
        car.follow(self._script)
        return nullcontext()


def take_a_seat(driver: str, *, human: bool = False, seed: int = 1) -> Seat:
    """A driver by name, or the script in the file of that name.

    A ``human`` driver does the script's actions early or late, as the seed has it.

    Raises
    ------
    CarError
        If it is neither, or the script cannot be used.
    """
    for who in ("mechanic", "keyboard", "none"):
        if driver == who:
            return Seat(who)
    if not Path(driver).is_file():
        raise CarError(
            f'The driver "{driver}" is neither mechanic, keyboard nor none, and there is no script '
            "of that name; choose one of these or name a file (TOML)."
        )
    script = read_script(driver)
    if human:
        cues = [Cue(action.at_s, action.control, action.value) for action in script]
        script = Person(seed=seed).hear(cues)
    return Seat("script", script)
