"""The lowest warm idle of a recording: where the engine comes to rest, and how far that may be from
where it idles hot and without a load."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.observations import Observations

__all__ = ["NEAR_RPM", "SHORTEST_SHARE", "Lowest", "fallen_rpm", "load_share", "lowest_idle"]

Floats = NDArray[np.float64]

#: Stretches this near to the lowest idle are of it. [rpm]
NEAR_RPM = 15.0
#: A dip that takes less of all idle time is not where the engine idles.
SHORTEST_SHARE = 0.12
_HIGHEST_IDLE_RPM = 1400.0
_FALLS_RPM = 5.0  # less between two stretches is no fall; our choice


@dataclass(frozen=True)
class Lowest:
    """Lowest warm idle [rpm], how many levels there are, the spark there [deg], how much higher
    than hot it may idle for its coolant [rpm], whether it is out of a drive, and whether loads are
    known to be off there."""

    speed_rpm: float
    levels: int
    timing_deg: float
    warming_rpm: float
    driven: bool = False
    loads_off: bool = False


def lowest_idle(
    observations: Observations, table: Mapping[str, Any], chosen: NDArray[np.bool_]
) -> Lowest:
    """Lowest warm idle of the chosen points (points,)."""
    o = observations
    mask = o.idle & chosen & (o.speed_rev_s * 60.0 < _HIGHEST_IDLE_RPM)
    if not mask.any():
        return Lowest(float("nan"), 0, float("nan"), 0.0)
    order = np.flatnonzero(mask)[np.argsort(o.speed_rev_s[mask])]
    speeds, seconds = o.speed_rev_s[order] * 60.0, o.lasts_s[order]
    driven = np.isin(o.recording[order], o.recording[~o.idle & ~o.held])
    # A dip that lasts a moment is not where the engine idles; at a stop it never lasts long.
    shortest = float(table["driven_shortest_share"]) if driven.any() else SHORTEST_SHARE
    share = np.cumsum(seconds) / seconds.sum()
    place = int(np.argmax(share > shortest))
    lasting = speeds[(seconds > shortest * seconds.sum()) & (speeds >= speeds[place])]
    if not lasting.size:  # many stops, none of which lasted
        lasting = speeds[place : place + 1]
    return Lowest(
        speed_rpm=float(speeds[place]),
        levels=_levels(lasting) if driven[place] else 1 + int((np.diff(lasting) > 30.0).sum()),
        timing_deg=float(o.timing_deg[order[place]]),
        warming_rpm=_warming_rpm(o, mask, int(order[place]), table),
        driven=bool(driven[place]),
        loads_off=bool(o.loads_off[order[place]]),
    )


def _warming_rpm(
    o: Observations, idles: NDArray[np.bool_], lowest: int, table: Mapping[str, Any]
) -> float:
    """How much higher than hot the engine may idle at its lowest idle. Where no coolant temperature
    was recorded, idles that fall throughout may go on falling."""
    coolant = float(o.coolant_c[lowest])
    if np.isfinite(coolant):
        return float(max(table["hot_c"] - coolant, 0.0) * table["warming_rpm_per_k"])
    fallen = fallen_rpm(o, idles & (o.recording == o.recording[lowest]))
    return float(table["falls_on"]) * fallen


def fallen_rpm(o: Observations, idles: NDArray[np.bool_]) -> float:
    """By how much the idle of a recording fell, where it did so from each of its stretches to the
    next, as that of an engine does which warms up; else 0."""
    speeds = o.speed_rev_s[idles] * 60.0
    falling = len(speeds) > 1 and bool((np.diff(speeds) < -_FALLS_RPM).all())
    return float(speeds[0] - speeds[-1]) if falling else 0.0


def _levels(rising: Floats) -> int:
    """How many levels speeds in rising order stand at, each as wide as one idle is."""
    levels, begins = 1, rising[0]
    for speed in rising:
        if speed > begins + NEAR_RPM:
            levels, begins = levels + 1, speed
    return levels


def load_share(idle: Lowest, table: Mapping[str, Any]) -> float:
    """How likely it is that a load raises an idle: one with two levels shows it without. In a drive
    an idle is held up for other reasons, too, and one that comes to rest elsewhere at each stop has
    perhaps not settled at any. Where they are said to be off, some load is forgotten, or cannot be
    switched."""
    if idle.driven:
        shares = table["driven_load_share"]
        return float(shares[min(idle.levels, len(shares)) - 1])
    share = float(table["load_share_two_levels" if idle.levels > 1 else "load_share"])
    return min(share, float(table["off_load_share"])) if idle.loads_off else share
