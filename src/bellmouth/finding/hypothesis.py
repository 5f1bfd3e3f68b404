"""The hypotheses as arrays: which causes each holds, the range of each size, and how a size acts.

A size's coordinate is the natural logarithm of what it changes: leak area [m²], |ln ratio| itself
for ratios, lost area [mm²], and the share of idle air for stale learning.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.causes import CAUSES, pairs, singles
from bellmouth.finding.model import Effects
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors

__all__ = [
    "EFFECT_COLUMNS",
    "HasCoordinates",
    "Hypotheses",
    "Scale",
    "effects_of_table",
    "enumerate_hypotheses",
]

Floats = NDArray[np.float64]


#: Columns of the table of effects; 0 takes what acts on nothing here (stale learning).
EFFECT_COLUMNS = {"leak": 1, "meter": 2, "fuel": 3, "deposit": 4, "pressure": 5, "boost": 6}
_FIELDS = {
    "leak_area_m2": 1,
    "meter": 2,
    "fuel": 3,
    "deposit_mm2": 4,
    "pressure": 5,
    "boost": 6,
}


@dataclass(frozen=True)
class Scale:
    """What sizes are measured against in these recordings.

    ``idle_area_m2`` is the nominal effective area that idle breathes through, ``idle_flow_g_s``
    its air, ``slope_mm2_deg`` the area that a degree of opening is worth.
    """

    idle_area_m2: float
    idle_flow_g_s: float
    slope_mm2_deg: float


class HasCoordinates(Protocol):
    """What is asked where only the size of a cause matters, not what it stands beside."""

    def coordinate(self, cause: str, which: NDArray[np.intp], sizes: Floats) -> Floats:
        """A cause's coordinate in hypotheses ``which`` at ``sizes``; NaN where it is not held."""
        ...


@dataclass(frozen=True)
class Hypotheses:
    """All hypotheses. Arrays have shape (hypotheses, 2); a single cause leaves the second NaN."""

    names: tuple[str, ...]
    causes: tuple[tuple[str, ...], ...]
    low: Floats
    high: Floats

    @property
    def count(self) -> int:
        """How many hypotheses there are, healthy included."""
        return len(self.names)

    @cached_property
    def _places(self) -> dict[tuple[str, int], NDArray[np.bool_]]:
        return {
            (name, place): np.array(
                [causes[place : place + 1] == (name,) for causes in self.causes]
            )
            for name in CAUSES
            for place in (0, 1)
        }

    @cached_property
    def dimensions(self) -> NDArray[np.intp]:
        """How many sizes each hypothesis has."""
        return np.array([len(causes) for causes in self.causes], dtype=np.intp)

    def holds(self, cause: str, place: int) -> NDArray[np.bool_]:
        """Which hypotheses hold a cause as their first (0) or second (1)."""
        return self._places[cause, place]

    def coordinate(self, cause: str, which: NDArray[np.intp], sizes: Floats) -> Floats:
        """A cause's coordinate in hypotheses ``which`` (n,) at ``sizes`` (n, 2); NaN where it is
        not held."""
        found = np.where(self.holds(cause, 0)[which], sizes[:, 0], np.nan)
        return np.where(self.holds(cause, 1)[which], sizes[:, 1], found)

    @cached_property
    def _codes(self) -> tuple[NDArray[np.intp], Floats]:
        """Which effect each size acts through, as a column of the effects, and its sign."""
        codes = np.zeros((self.count, 2), dtype=np.intp)
        signs = np.ones((self.count, 2))
        for row, causes in enumerate(self.causes):
            for place, name in enumerate(causes):
                codes[row, place] = EFFECT_COLUMNS.get(CAUSES[name].effect, 0)
                signs[row, place] = CAUSES[name].sign
        return codes, signs

    def effects(
        self, which: NDArray[np.intp], sizes: Floats, bends: tuple[float, float]
    ) -> Effects:
        """Effects of hypotheses ``which`` (batch,) at coordinates ``sizes`` (batch, 2).

        ``bends`` are the spread of a healthy and of a contaminated meter's exponent.
        """
        codes, signs = self._codes
        column = codes[which]
        size = np.where(column > 0, sizes, 0.0)
        areas = (column == EFFECT_COLUMNS["leak"]) | (column == EFFECT_COLUMNS["deposit"])
        value = np.where(areas, np.exp(np.where(areas, size, 0.0)), signs[which] * size)
        table = np.zeros((len(which), len(EFFECT_COLUMNS) + 1))
        batch = np.arange(len(which))
        # One after the other: no two causes of a hypothesis share a column, but both may be none.
        table[batch, column[:, 0]] = value[:, 0]
        table[batch, column[:, 1]] += value[:, 1]
        bent = (column == EFFECT_COLUMNS["meter"]).any(axis=1)
        return effects_of_table(table, np.where(bent, bends[1], bends[0]))


def effects_of_table(table: Floats, bend_sd: Floats) -> Effects:
    """Effects from a table whose last axis is `EFFECT_COLUMNS`, its column 0 acting on nothing."""
    columns = {name: table[..., place] for name, place in _FIELDS.items()}
    return Effects(**columns, bend_sd=bend_sd)


def enumerate_hypotheses(priors: Priors, scale: Scale, observations: Observations) -> Hypotheses:
    """Healthy, every single cause and every pair that these recordings can be asked about.

    Where nothing recorded bears on fuel, a fuel fault is left at its prior and in no pair.
    """
    o = observations
    boosted = bool(np.isfinite(o.boost_pa).any())
    both = o.airflow_metered and bool(np.isfinite(o.manifold_pa).any())
    alone = singles(both_sensors=both, boost=boosted)
    fuelled = bool(np.isfinite(o.log_trim).any())
    paired = tuple(name for name in alone if fuelled or CAUSES[name].effect != "fuel")
    causes: list[tuple[str, ...]] = [(), *((name,) for name in alone), *pairs(paired)]
    table = priors.sizes_with_reference if o.recordings > 1 else priors.sizes
    bounds = {name: _range(name, table, scale, o.airflow_metered) for name in alone}
    low = np.full((len(causes), 2), np.nan)
    high = np.full((len(causes), 2), np.nan)
    for row, members in enumerate(causes):
        for place, name in enumerate(members):
            low[row, place], high[row, place] = bounds[name]
    names = tuple("+".join(members) if members else "healthy" for members in causes)
    return Hypotheses(names, tuple(causes), low, high)


def _range(
    name: str, sizes: Mapping[str, tuple[float, float]], scale: Scale, airflow_metered: bool
) -> tuple[float, float]:
    effect = CAUSES[name].effect
    if effect == "leak":
        low, high = sizes["leak_airflow" if airflow_metered else "leak_pressure"]
        offset = np.log(scale.idle_area_m2)
    elif effect == "deposit":
        low, high = sizes["deposit"]
        offset = np.log(scale.slope_mm2_deg)
        # What it took away may be several times what idle now breathes through.
        high = max(high, float(np.log(12.0 * scale.idle_area_m2 * 1e6)) - offset)
    else:
        low, high = sizes["learned_stale" if effect == "learned" else effect]
        offset = 0.0
    return float(low + offset), float(high + offset)
