"""What a hypothesis does to a car, and how parts of a state are worked out for many at once."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Effects", "Part", "Shared", "Sharing", "everywhere"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True)
class Effects:
    """What a hypothesis does; zeros are a healthy car.

    Shape (batch,) each where only the judged recording is touched, or (batch, recordings).
    ``leak_area_m2`` effective; ``meter``, ``fuel``, ``pressure``, ``boost`` are logarithms of a
    ratio; ``deposit_mm2`` is the area lost at the stop; ``bend_sd`` (batch,) the spread of the
    meter's exponent that the hypothesis allows.
    """

    leak_area_m2: Floats
    meter: Floats
    fuel: Floats
    deposit_mm2: Floats
    pressure: Floats
    boost: Floats
    bend_sd: Floats

    def of(self, members: Ints) -> "Effects":
        """Those of some members of the batch."""
        return Effects(
            leak_area_m2=self.leak_area_m2[members],
            meter=self.meter[members],
            fuel=self.fuel[members],
            deposit_mm2=self.deposit_mm2[members],
            pressure=self.pressure[members],
            boost=self.boost[members],
            bend_sd=self.bend_sd[members],
        )


Part = Callable[[Floats, Effects], Mapping[str, Floats]]
#: Works out a part of a state for values and effects, knowing which effects it depends on.
Sharing = Callable[[Sequence[str], Part, Floats, Effects], Mapping[str, Floats]]


def everywhere(
    _depends_on: Sequence[str], part: Part, value: Floats, effects: Effects
) -> Mapping[str, Floats]:
    """The part for every member of the batch, each for itself."""
    return part(value, effects)


class Shared:
    """Each part once for all members that have it in common, and only what residuals read.

    On a grid of sizes eight times eight members differ in a size that a part depends on in eight
    ways only. What comes out is the same to the last bit: equal operands, equal results.

    Parameters
    ----------
    alike
        (batch,) from 0 up: members with the same number have the same coordinates, and the same
        spread of the meter's exponent.
    """

    _READ = ("passed", "filled", "leak_flux", "flux", "upstream", "ambient", "fuel_fill", "plate",
             "opening")  # fmt: skip

    def __init__(self, alike: Ints) -> None:
        self._alike = alike

    def __call__(
        self, depends_on: Sequence[str], part: Part, value: Floats, effects: Effects
    ) -> Mapping[str, Floats]:
        """See `Sharing`."""
        number = self._alike
        for name in depends_on:
            number = _numbered(number, getattr(effects, name))
        first, number = _first_of(number)
        told = part(value[first], effects.of(first))
        return {name: told[name][number] for name in self._READ if name in told}


def _numbered(number: Ints, effect: Floats) -> Ints:
    """Numbers that differ where the number or the effect does."""
    there = np.flatnonzero(effect)
    if not len(there):
        return number
    values, which = np.unique(effect[there], return_inverse=True)
    own = np.zeros(len(effect), dtype=np.intp)
    own[there] = which + 1
    return _first_of(number * (len(values) + 1) + own)[1]


def _first_of(number: Ints) -> tuple[Ints, Ints]:
    """A member of each number, and the numbers closed up."""
    member = np.full(int(number.max()) + 1, -1, dtype=np.intp)
    member[number] = np.arange(len(number))
    there = member >= 0
    return member[there], (np.cumsum(there) - 1)[number]
