"""What a hypothesis does to a car, and how parts of a state are worked out for many at once."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["COLUMNS", "Effects", "Part", "Shared", "Sharing", "everywhere"]

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


#: Where each effect stands in a table of effects; 0 takes what acts on nothing here (stale
#: learning).
COLUMNS = {
    "leak_area_m2": 1,
    "meter": 2,
    "fuel": 3,
    "deposit_mm2": 4,
    "pressure": 5,
    "boost": 6,
}

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
    hypothesis
        (batch,) the hypothesis of each member: those of one have the same coordinates.
    step
        (batch, 2) how many steps along each of its sizes a member stands, from 0.
    acting
        (hypotheses, 2) the column of `COLUMNS` that each size acts through, 0 for none.
    """

    _READ = ("passed", "filled", "leak_flux", "flux", "upstream", "ambient", "fuel_fill", "plate",
             "opening")  # fmt: skip

    def __init__(self, hypothesis: Ints, step: Ints, acting: Ints) -> None:
        self._hypothesis = hypothesis
        self._acting = acting
        self._many = int(step.max()) + 1
        self._step = step

    def __call__(
        self, depends_on: Sequence[str], part: Part, value: Floats, effects: Effects
    ) -> Mapping[str, Floats]:
        """See `Sharing`."""
        moves = np.zeros(max(COLUMNS.values()) + 1, dtype=np.bool_)
        moves[[COLUMNS[name] for name in depends_on]] = True
        steps = self._step * moves[self._acting][self._hypothesis]
        number = (self._hypothesis * self._many + steps[:, 0]) * self._many + steps[:, 1]
        # A member of each number, and the numbers closed up.
        member = np.zeros(int(number.max()) + 1, dtype=np.intp)
        there = np.zeros(len(member), dtype=np.bool_)
        member[number], there[number] = np.arange(len(number)), True
        place = np.flatnonzero(there)
        first = member[place]
        member[place] = np.arange(len(place))
        told, back = part(value[first], effects.of(first)), member[number]
        return {name: told[name][back] for name in self._READ if name in told}
