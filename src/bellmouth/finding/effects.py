"""What a hypothesis does to a car, and how parts of a state are worked out for many at once."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.nuisance import Unknowns, Values

__all__ = ["ROWS", "Effects", "Part", "Shared", "Sharing"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

#: Row of a table of effects by what a cause acts on; 0 takes what acts on nothing here (stale
#: learning).
ROWS = {"leak": 1, "meter": 2, "fuel": 3, "deposit": 4, "pressure": 5, "boost": 6}


@dataclass(frozen=True)
class Effects:
    """What a hypothesis does; zeros are a healthy car.

    ``table`` has a row for each of `ROWS`: (rows, batch) where only the judged recording is
    touched, or (rows, batch, recordings); ``bend_sd`` (batch,) is the spread of the meter's
    exponent that the hypothesis allows.
    """

    table: Floats
    bend_sd: Floats

    @property
    def leak_area_m2(self) -> Floats:
        """Effective area of a leak."""
        return self._row("leak")

    @property
    def meter(self) -> Floats:
        """Logarithm of what the meter reads over what passes it."""
        return self._row("meter")

    @property
    def fuel(self) -> Floats:
        """Logarithm of the fuel delivered over the fuel asked for."""
        return self._row("fuel")

    @property
    def deposit_mm2(self) -> Floats:
        """Area lost at the stop."""
        return self._row("deposit")

    @property
    def pressure(self) -> Floats:
        """Logarithm of what the manifold sensor reads over what there is."""
        return self._row("pressure")

    @property
    def boost(self) -> Floats:
        """Logarithm of what the boost sensor reads over what there is."""
        return self._row("boost")

    def _row(self, effect: str) -> Floats:
        row: Floats = self.table[ROWS[effect]]
        return row

    def of(self, members: Ints) -> "Effects":
        """Those of some members of the batch."""
        return Effects(self.table.take(members, axis=1), self.bend_sd.take(members))

    @staticmethod
    def none(batch: int) -> "Effects":
        """Healthy cars, of whose meters nothing is allowed either."""
        return Effects(np.zeros((len(ROWS) + 1, batch)), np.zeros(batch))

    @staticmethod
    def joined(many: Sequence["Effects"]) -> "Effects":
        """Those of several batches one after the other."""
        return Effects(
            np.concatenate([one.table for one in many], axis=1),
            np.concatenate([one.bend_sd for one in many]),
        )


Part = Callable[[Values, Effects], Mapping[str, Floats]]


class Sharing:
    """Works out a part of a state for values and effects, knowing which effects it depends on:
    here for every member of the batch, each for itself."""

    def values(self, unknowns: Unknowns, coordinates: Floats, effects: Effects) -> Values:
        """The unknowns' values at coordinates."""
        return unknowns.values_of(coordinates, effects.bend_sd)

    def __call__(
        self, _depends_on: Sequence[str], part: Part, values: Values, effects: Effects
    ) -> Mapping[str, Floats]:
        """The part for each member."""
        return part(values, effects)


class Shared(Sharing):
    """Each part once for all members that have it in common, and only what residuals read.

    On a grid of sizes eight times eight members differ in a size that a part depends on in eight
    ways only. What comes out is the same to the last bit: equal operands, equal results.

    Parameters
    ----------
    hypothesis
        (batch,) the hypothesis of each member: those of one have the same coordinates, and these
        are given once a hypothesis.
    step
        (2, batch) how many steps along each of its sizes a member stands, from 0.
    along
        (2, hypotheses) how many nodes each has along each of its sizes.
    acting
        (hypotheses, 2) the row of `ROWS` that each size acts through, 0 for none.
    """

    _READ = ("passed", "filled", "leak_flux", "flux", "upstream", "ambient", "fuel_fill", "plate",
             "opening")  # fmt: skip

    def __init__(self, hypothesis: Ints, step: Ints, along: Ints, acting: Ints) -> None:
        self._hypothesis = hypothesis
        self._step = step
        self._along = along
        self._acting = acting

    def values(self, unknowns: Unknowns, coordinates: Floats, effects: Effects) -> Values:
        """The unknowns' values at coordinates (hypotheses, unknowns)."""
        bend_sd = np.empty(len(coordinates))
        bend_sd[self._hypothesis] = effects.bend_sd
        return unknowns.values_of(coordinates, bend_sd).of(self._hypothesis)

    def __call__(
        self, depends_on: Sequence[str], part: Part, values: Values, effects: Effects
    ) -> Mapping[str, Floats]:
        """The part for one of each that differ, handed to all that are alike."""
        moves = np.zeros(len(ROWS) + 1, dtype=np.bool_)
        moves[[ROWS[name] for name in depends_on]] = True
        moving = moves[self._acting].T
        first, second = np.where(moving, self._along, 1)
        # Those of a hypothesis that differ stand together, the first size outside.
        start = np.cumsum(first * second) - first * second
        number = start.take(self._hypothesis)
        for step, stride in zip(self._step, moving * (second, np.ones_like(second)), strict=True):
            number += step * stride.take(self._hypothesis)
        member = np.empty(int(start[-1] + first[-1] * second[-1]), dtype=np.intp)
        member[number] = np.arange(len(number))
        told = part(values.of(member), effects.of(member))
        read = (name for name in self._READ if name in told)
        # Members side by side in memory, as in `pooled`.
        return {name: told[name].T.take(number, axis=1).T for name in read}
