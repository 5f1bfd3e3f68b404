"""What a person's hands and feet do in the live practice car, and when."""

import heapq
import itertools
from dataclasses import dataclass, field
from enum import IntEnum

from bellmouth.errors import BellmouthError

__all__ = ["CONTROLS", "Action", "Controls", "Key", "Schedule"]


class Key(IntEnum):
    """Positions of the key. START springs back to ON once the engine runs."""

    OFF = 0
    ACCESSORY = 1
    ON = 2
    START = 3


@dataclass
class Controls:
    """Where everything stands that a person can move.

    Attributes
    ----------
    key
        The key's position; below ON the controllers sleep.
    pedal_pct
        Where the foot wants the pedal: 0 up, 100 fully down. [%]
    hold_rpm
        Engine speed that the foot holds; 0 leaves the pedal to ``pedal_pct``. [rpm]
    road_kmh
        Road speed that the driver wants. [km/h]
    load
        Electrical and compressor load, 0 none to 1 everything.
    gear
        0 for P or N, 1 in gear.
    brake
        0 or 1.
    """

    key: Key = Key.OFF
    pedal_pct: float = 0.0
    hold_rpm: float = 0.0
    road_kmh: float = 0.0
    load: float = 0.0
    gear: float = 0.0
    brake: float = 1.0


#: Least and most of each control.
CONTROLS: dict[str, tuple[float, float]] = {
    "key": (0, 3),
    "pedal_pct": (0, 100),
    "hold_rpm": (0, 6000),
    "road_kmh": (0, 160),
    "load": (0, 1),
    "gear": (0, 1),
    "brake": (0, 1),
}


@dataclass(frozen=True)
class Action:
    """One control moved to a value at a car time.

    Raises
    ------
    BellmouthError
        If there is no such control or it cannot stand there.
    """

    at_s: float
    control: str
    value: float

    def __post_init__(self) -> None:
        if self.control not in CONTROLS:
            raise BellmouthError(
                f'The practice car has no control "{self.control}"; it has {", ".join(CONTROLS)}.'
            )
        least, most = CONTROLS[self.control]
        if not least <= self.value <= most:
            raise BellmouthError(
                f"{self.control} = {self.value:g} is impossible; it lies between {least:g} and "
                f"{most:g}."
            )

    def apply(self, controls: Controls) -> None:
        """Move the control."""
        value: float | Key = Key(int(self.value)) if self.control == "key" else float(self.value)
        setattr(controls, self.control, value)


@dataclass
class Schedule:
    """Actions waiting for their car time; those of one time in the order they were given."""

    _waiting: list[tuple[float, int, Action]] = field(default_factory=list)
    _count: "itertools.count[int]" = field(default_factory=itertools.count)

    def add(self, action: Action) -> None:
        """Keep an action until it is due."""
        heapq.heappush(self._waiting, (action.at_s, next(self._count), action))

    def due(self, now_s: float) -> list[Action]:
        """Take out what is due by now, earliest first."""
        taken: list[Action] = []
        while self._waiting and self._waiting[0][0] <= now_s + 1e-9:
            taken.append(heapq.heappop(self._waiting)[2])
        return taken

    def clear(self) -> None:
        """Forget everything that is not yet due."""
        self._waiting.clear()

    def __len__(self) -> int:
        return len(self._waiting)
