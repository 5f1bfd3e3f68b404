"""What a forecast is made of: a car's visits, each with what was read at an odometer."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from bellmouth.errors import BookError

__all__ = ["CarVisits", "Read", "Visit", "in_order"]


@dataclass(frozen=True)
class Read:
    """A value and its standard error, in mm² for a deposit and in % for an opening."""

    value: float
    standard_error: float


@dataclass(frozen=True)
class Visit:
    """One visit.

    Attributes
    ----------
    km
        The odometer. [km]
    on
        The day, where it is known.
    deposit
        Effective area lost to deposit near the closed plate, before any work. [mm²]
    opening
        The plate's reading at a warm idle, before any work. [%]
    cleaned
        Whether the plate was cleaned at this visit, after it was read.
    """

    km: float
    on: date | None = None
    deposit: Read | None = None
    opening: Read | None = None
    cleaned: bool = False


@dataclass(frozen=True)
class CarVisits:
    """A car's visits, oldest first, and the deposit at which its plate is worth a look. [mm²]

    ``odometers`` are all days on which the odometer is known, oldest first, also of visits at which
    nothing was read: they tell how far the car goes. [km]
    """

    name: str
    level_mm2: float
    visits: tuple[Visit, ...]
    odometers: tuple[tuple[date, float], ...] = ()

    @property
    def tells_growth(self) -> bool:
        """Whether it was seen at two distances; before and after a cleaning is one."""
        return len({visit.km for visit in self.visits}) > 1

    @property
    def stands_km(self) -> float:
        """The odometer when it was last seen, read or not. [km]"""
        return max(self.visits[-1].km, *(km for _, km in self.odometers[-1:]), 0.0)

    def dated(self) -> tuple[tuple[date, float], ...]:
        """Days and odometers, oldest first: those given, else the visits' own. [km]"""
        own = tuple((visit.on, visit.km) for visit in self.visits if visit.on is not None)
        return self.odometers or own


def in_order(visits: Sequence[Visit]) -> None:
    """Refuse visits whose odometer runs backwards."""
    for earlier, later in pairwise(visits):
        if later.km < earlier.km:
            raise BookError(
                f"The odometer runs backwards from {earlier.km:.0f} to {later.km:.0f} km. "
                "Correct one of the two jobs."
            )
