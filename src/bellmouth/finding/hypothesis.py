"""The hypotheses as arrays: which causes each holds, the range of each size, and how a size acts.

A size's coordinate is the natural logarithm of what it changes: leak area [m²], |ln ratio| itself
for ratios, lost area [mm²], and the share of idle air for stale learning.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.causes import AREAS, CAUSES, pairs, singles
from bellmouth.finding.effects import ROWS, Effects
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors

__all__ = [
    "HasCoordinates",
    "Hypotheses",
    "Scale",
    "enumerate_hypotheses",
    "log_reads",
]

Floats = NDArray[np.float64]

#: What a deposit took at the stop may be several times what idle now breathes through (practice
#: cars: 6 times in one of twenty).
_MOST_OF_IDLE = 6.0
_RATIOS = ("meter", "fuel", "pressure", "boost")


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

    def coordinate(
        self, cause: str, which: NDArray[np.intp], sizes: Floats, without: float = np.nan
    ) -> Floats:
        """A cause's coordinate in hypotheses ``which`` at ``sizes``; ``without`` where it is not
        held."""
        ...


def log_reads(
    hypotheses: HasCoordinates, sensor: str, which: NDArray[np.intp], sizes: Floats
) -> Floats:
    """Log of what a sensor reads over what is there in hypotheses ``which`` (n,) at ``sizes``
    (n, 2); 0 where it is sound. ``sensor`` is an effect with a low and a high cause."""
    low = hypotheses.coordinate(f"{sensor}_low", which, sizes, 0.0)
    high = hypotheses.coordinate(f"{sensor}_high", which, sizes, 0.0)
    return high - low


@dataclass(frozen=True)
class Hypotheses:
    """All hypotheses. Arrays have shape (hypotheses, 2); a single cause leaves the second NaN.

    ``worth`` is the smallest |ln ratio| worth acting on, NaN where a size is told as a logarithm;
    ``common`` the largest coordinate that is as common as smaller ones, NaN where all are.
    """

    names: tuple[str, ...]
    causes: tuple[tuple[str, ...], ...]
    low: Floats
    high: Floats
    worth: Floats
    common: Floats

    @property
    def count(self) -> int:
        """How many hypotheses there are, healthy included."""
        return len(self.names)

    @cached_property
    def _acting(self) -> "_Acting":
        return _acting(self.causes)

    @property
    def dimensions(self) -> NDArray[np.intp]:
        """How many sizes each hypothesis has."""
        return self._acting.dimensions

    @property
    def acting(self) -> NDArray[np.intp]:
        """The row of `effects.ROWS` that each size acts through, (hypotheses, 2)."""
        return self._acting.row.T

    @property
    def next_to(self) -> None:
        """Nothing: a pair of one recording is found from its coarse grid."""
        return

    @property
    def bending(self) -> NDArray[np.bool_]:
        """Which hold one size alone that acts on an area, (hypotheses,)."""
        return np.asarray(self._acting.areas[0] & (self.dimensions == 1))

    def holds(self, cause: str, place: int) -> NDArray[np.bool_]:
        """Which hypotheses hold a cause as their first (0) or second (1)."""
        return self._acting.holds[cause, place]

    def coordinate(
        self, cause: str, which: NDArray[np.intp], sizes: Floats, without: float = np.nan
    ) -> Floats:
        """A cause's coordinate in hypotheses ``which`` (n,) at ``sizes`` (n, 2); ``without`` where
        it is not held."""
        first, second = (self.holds(cause, place).take(which) for place in (0, 1))
        return np.where(second, sizes[:, 1], np.where(first, sizes[:, 0], without))

    def effects(
        self, which: NDArray[np.intp], sizes: Floats, bends: tuple[float, float]
    ) -> Effects:
        """Effects of hypotheses ``which`` (batch,) at coordinates ``sizes`` (batch, 2).

        ``bends`` are the spread of a healthy and of a contaminated meter's exponent.
        """
        acting = self._acting
        areas, signs, row, bent = (
            each.take(which, axis=-1)
            for each in (acting.areas, acting.signs, acting.row, acting.bends)
        )
        # A size that acts on an area is its logarithm; the exponential of the others is not used.
        value = np.where(areas, np.exp(sizes.T), signs * sizes.T)
        table = np.zeros((len(ROWS) + 1, len(which)))
        # No two causes of a hypothesis share a row, but both may act on nothing.
        table[row, np.arange(len(which))] = value
        return Effects(table, np.where(bent, bends[1], bends[0]))


@dataclass(frozen=True)
class _Acting:
    """How the sizes of a list of hypotheses act. Arrays have a column a hypothesis; ``row`` (2,
    hypotheses) is that of `effects.ROWS` which each size acts through, with its sign."""

    dimensions: NDArray[np.intp]
    holds: Mapping[tuple[str, int], NDArray[np.bool_]]
    row: NDArray[np.intp]
    signs: Floats
    areas: NDArray[np.bool_]
    bends: NDArray[np.bool_]


@cache
def _acting(hypotheses: tuple[tuple[str, ...], ...]) -> _Acting:
    """The same lists come again with every recording of a kind of car."""
    codes = np.zeros((2, len(hypotheses)), dtype=np.intp)
    signs = np.ones((2, len(hypotheses)))
    for row, causes in enumerate(hypotheses):
        for place, name in enumerate(causes):
            codes[place, row] = ROWS.get(CAUSES[name].effect, 0)
            signs[place, row] = CAUSES[name].sign
    holds = {
        (name, place): np.array([causes[place : place + 1] == (name,) for causes in hypotheses])
        for name in CAUSES
        for place in (0, 1)
    }
    return _Acting(
        dimensions=np.array([len(causes) for causes in hypotheses], dtype=np.intp),
        holds=holds,
        row=codes,
        signs=signs,
        areas=np.isin(codes, [ROWS[effect] for effect in AREAS]),
        bends=(codes == ROWS["meter"]).any(axis=0),
    )


def enumerate_hypotheses(priors: Priors, scale: Scale, observations: Observations) -> Hypotheses:
    """Healthy, every single cause and every pair that these recordings can be asked about.

    Where nothing recorded bears on fuel, a fuel fault is left at its prior and in no pair.
    """
    o = observations
    boosted = bool(np.isfinite(o.boost_pa).any())
    both = o.airflow_metered and bool(np.isfinite(o.manifold_pa).any())
    alone = singles(both_sensors=both, boost=boosted)
    fuelled = bool(np.isfinite(o.log_trim).any())
    names, causes, member = _listed(alone, fuelled)
    table = priors.sizes_with_reference if o.beside else priors.sizes
    bounds = [_range(name, table, scale, o.airflow_metered) for name in alone]
    low, high = np.array([*bounds, (np.nan, np.nan)]).T
    worth = np.array([*(_worth(name, priors) for name in alone), np.nan])
    common = np.full(len(alone) + 1, np.nan)
    if o.airflow_metered and not o.beside:
        common[alone.index("leak")] = priors.sizes["leak_common"][1] + np.log(scale.idle_area_m2)
    parts = (part[member] for part in (low, high, worth, common))
    return Hypotheses(names, causes, *parts)


@cache
def _listed(
    alone: tuple[str, ...], fuelled: bool
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...], NDArray[np.intp]]:
    """Names and causes of the hypotheses, and where among ``alone`` each of their causes stands:
    (hypotheses, 2), -1 where there is none."""
    paired = tuple(name for name in alone if fuelled or CAUSES[name].effect != "fuel")
    causes: tuple[tuple[str, ...], ...] = ((), *((name,) for name in alone), *pairs(paired))
    names = tuple("+".join(members) if members else "healthy" for members in causes)
    member = np.full((len(causes), 2), -1, dtype=np.intp)
    for row, members in enumerate(causes):
        member[row, : len(members)] = [alone.index(name) for name in members]
    return names, causes, member


def _worth(name: str, priors: Priors) -> float:
    effect = CAUSES[name].effect
    return priors.sizes[effect][0] if effect in _RATIOS else np.nan


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
        high = max(high, float(np.log(_MOST_OF_IDLE * scale.idle_area_m2 * 1e6)) - offset)
    else:
        told = {"learned": "learned_stale", "meter": "meter" if airflow_metered else "computed"}
        low, high = sizes[told.get(effect, effect)]
        offset = 0.0
    return float(low + offset), float(high + offset)
