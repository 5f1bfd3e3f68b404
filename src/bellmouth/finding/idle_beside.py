"""What the air of a warm idle says beside a reference of the same car.

An engine that idles at one speed, spark and load asks for the same air on another day. A leak
hides from the meter what it lets in, short fuel does not; a load that raises idle asks for more
air a turn, surplus air for hardly any beyond what a later spark wastes. Speed and spark alone are
`idle_speed`'s; this adds what the air says once they are known.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Car
from bellmouth.finding.density import normal, normal_below
from bellmouth.finding.false_pressure import Way, ways
from bellmouth.finding.hypothesis import HasCoordinates, Scale, log_reads
from bellmouth.finding.idle_speed import (
    SHARES,
    Comparison,
    Surplus,
    compared,
    speed_rises,
    stray_density,
    surplus_shares,
)
from bellmouth.finding.lowest_idle import NEAR_RPM, SHORTEST_SHARE, Lowest
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors
from bellmouth.finding.tables import between_both, places

__all__ = ["AirChange", "IdleBeside", "air_change", "idle_beside"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

#: Logarithms of the change of air that the likelihood is worked out at.
_PLACES = np.linspace(-1.2, 1.2, 61)


@dataclass(frozen=True)
class AirChange:
    """Logarithm of air a turn at the lowest warm idle, now over then, and how well it is known.

    ``by_pressure``: the manifold pressure stands for the air; otherwise the meter does, which
    read ``metered_g_s``. NaN where the two idles cannot be compared.
    """

    log: float
    sd: float
    by_pressure: bool
    metered_g_s: float


@dataclass(frozen=True)
class IdleBeside:
    """Log likelihood of the idle's air, its speed and spark given, for any hypothesis and size.

    ``leak_log`` and ``stale_log`` (shares, changes) by the share of all idle air in surplus and
    the change of the air that the engine gets.
    """

    change: AirChange
    scale: Scale
    leak_log: Floats
    stale_log: Floats
    ways: tuple[Way, ...]
    hypotheses: HasCoordinates

    def __call__(self, which: Ints, sizes: Floats) -> Floats:
        """Log likelihood of hypotheses ``which`` (n,) at coordinates ``sizes`` (n, 2)."""
        if not np.isfinite(self.change.log):
            return np.zeros(len(which))
        leak, stale = surplus_shares(self.hypotheses, which, sizes, self.scale.idle_area_m2)
        got = self.change.log + self._unread(which, sizes, leak)
        told = [
            np.log(share) + self._told(leak, stale, got - off)
            for share, off in self._falsely(which, sizes)
        ]
        return np.asarray(np.logaddexp.reduce(told))

    def _told(self, leak: Floats, stale: Floats, got: Floats) -> Floats:
        """By the surplus there is and the change of the air that the engine gets, (n,)."""
        row, change = places(leak + stale, SHARES), places(got, _PLACES)
        by_leak, by_stale = (
            between_both(table, row, change) for table in (self.leak_log, self.stale_log)
        )
        return np.where(stale > 0, by_stale, by_leak)

    def _falsely(self, which: Ints, sizes: Floats) -> list[tuple[float, Floats]]:
        """How likely the pressure reads false, and by how much, where air is computed falsely; how
        well that is known is nothing beside how far the air of two days differs."""
        computed = log_reads(self.hypotheses, "meter", which, sizes)
        if not self.change.by_pressure:
            return [(1.0, np.zeros(len(which)))]
        return [(way.share, way.part * computed) for way in self.ways]

    def _unread(self, which: Ints, sizes: Floats, leak: Floats) -> Floats:
        """What is to be added to the change as read for what the engine got, (n,)."""
        read = "pressure" if self.change.by_pressure else "meter"
        low, high = (
            self.hypotheses.coordinate(f"{read}_{way}", which, sizes, 0.0)
            for way in ("low", "high")
        )
        if self.change.by_pressure:
            return np.asarray(low - high)
        beside = np.log1p(leak * self.scale.idle_flow_g_s / self.change.metered_g_s)
        return np.asarray(beside + low - high)


def idle_beside(
    observations: Observations, car: Car, priors: Priors, hypotheses: HasCoordinates, scale: Scale
) -> IdleBeside:
    """Prepare the likelihood for these recordings; it says nothing without a reference's idle."""
    held = compared(observations, car, priors) if observations.beside else None
    change = AirChange(float("nan"), float("nan"), False, float("nan"))
    if held is None or held.reference is None or not np.isfinite(held.excess_rpm):
        nothing = np.zeros((len(SHARES), len(_PLACES)))
        return IdleBeside(change, scale, nothing, nothing, (), hypotheses)
    o = observations
    change = air_change(o, (o.judged, held.judged), (~o.judged, held.reference), priors)
    metered = observations.airflow_metered

    def log_density(kind: Surplus) -> Floats:
        return _log_density(kind, held, change.sd, priors, airflow_metered=metered)

    by_surplus = log_density("leak"), log_density("stale")
    return IdleBeside(change, scale, *by_surplus, ways(o, priors), hypotheses)


def air_change(
    observations: Observations,
    now: tuple[NDArray[np.bool_], Lowest],
    then: tuple[NDArray[np.bool_], Lowest],
    priors: Priors,
) -> AirChange:
    """Air a turn at the lowest idle now over that then, each with the points (points,) it is of."""
    o, table = observations, priors.idle_beside
    chosen = [
        (o.idle & mask & (np.abs(o.speed_rev_s * 60.0 - lowest.speed_rpm) < NEAR_RPM))
        for mask, lowest in (now, then)
    ]
    by_pressure = all(np.isfinite(o.manifold_pa[mask]).any() for mask in chosen)
    reading = o.manifold_pa if by_pressure else o.metered_kg_s / o.speed_rev_s
    places = [_calmest(o, mask & np.isfinite(reading), reading) for mask in chosen]
    if min(places) < 0:
        return AirChange(float("nan"), float("nan"), by_pressure, float("nan"))
    here, there = places
    log, variance = float(np.log(reading[here] / reading[there])), table["log_sd"] ** 2
    if by_pressure:
        power, doubt = table["kelvin_power"]
        warmer = float(np.log(o.intake_k[here] / o.intake_k[there]))
        thicker = float(np.nan_to_num(np.log(o.ambient_pa[here] / o.ambient_pa[there])))
        log -= power * warmer
        variance += (doubt * warmer) ** 2 + (table["ambient_power_sd"] * thicker) ** 2
    cooler_k = (now[1].warming_rpm - then[1].warming_rpm) / priors.idle_speed["warming_rpm_per_k"]
    variance += (table["coolant_log_per_k"] * cooler_k) ** 2
    metered = float(o.metered_kg_s[here] * 1e3)
    return AirChange(log, float(np.sqrt(variance)), by_pressure, metered)


def _calmest(o: Observations, mask: NDArray[np.bool_], reading: Floats) -> int:
    """The point with the least air among those that last: a load that leaves the speed alone is
    not always on. -1 where there is none."""
    points = np.flatnonzero(mask)
    if not len(points):
        return -1
    seconds = o.lasts_s[points]
    points = points[seconds > SHORTEST_SHARE * seconds.max()]
    return int(points[np.argmin(reading[points])])


def _log_density(
    kind: Surplus, held: Comparison, sd: float, priors: Priors, *, airflow_metered: bool
) -> Floats:
    """Log density of each change of air at each share of surplus, speed and spark given:
    (shares, changes)."""
    table, beside = priors.idle_speed, priors.idle_beside
    rises = speed_rises(kind, table, held.target_rpm, airflow_metered=airflow_metered)
    parts = held.parts(rises, table)
    expected, spread = _expected(rises / held.target_rpm, held.spark.drop_deg, sd, beside, table)
    alike = normal((_PLACES - expected[..., None]) / spread[..., None], 1.0) / spread[..., None]
    more, less = (
        _loaded(way * (_PLACES - expected[..., None]), spread[..., None], beside["load_log"])
        for way in (1.0, -1.0)
    )
    share = beside["load_share"]
    # What raises idle far is a load: other things raise it less.
    other = float(np.interp(abs(held.excess_rpm), beside["other_rpm"], beside["other_share"]))
    given = (
        (1 - 2 * share) * alike + share * (more + less),
        (1 - other) * more + other * alike,
        (1 - other) * less + other * alike,
    )
    stray = table["stray_share"]
    odd = stray * held.spark.odd * stray_density(held.excess_rpm, table)
    joint = sum(part[..., None] * air for part, air in zip(parts, given, strict=True))
    joint = (1 - stray) * np.asarray(joint).mean(axis=1) + odd * _stray(sd, beside)
    alone = (1 - stray) * np.sum(parts, axis=0).mean(axis=1) + odd
    return np.asarray(np.log(joint + 1e-300) - np.log(alone + 1e-300)[:, None])


def _expected(
    rise_share: Floats, drop_deg: float, sd: float, beside: Mapping[str, Any], table: Any
) -> tuple[Floats, Floats]:
    """Change of air a turn without a load, and how far it may be off, (shares, draws).

    A later spark asks for more air, and so does friction at a higher speed. Where no spark is
    reported, surplus that does not raise the speed is spent on a later one.
    """
    log_rise = np.log1p(rise_share)
    power, doubt = beside["speed_power"]
    if np.isfinite(drop_deg):
        per_deg, per_deg_sd = beside["log_per_deg"]
        expected = per_deg * drop_deg + power * log_rise
        return expected, np.sqrt(sd**2 + (per_deg_sd * drop_deg) ** 2 + (doubt * log_rise) ** 2)
    low, high = table["speed_power"]
    by_air = np.tile(np.linspace(low, high, 4)[:, None], (1, 8)).ravel()
    return (1.0 / by_air - 1.0) * log_rise, np.hypot(sd, doubt * log_rise)


def _loaded(more: Floats, sd: Floats, most: float) -> Floats:
    """Density of what a load of any size up to the largest adds."""
    return np.asarray((normal_below(more / sd) - normal_below((more - most) / sd)) / most)


def _stray(sd: float, beside: Mapping[str, Any]) -> Floats:
    """Density of the change at an idle that strays: none, or a load's either way, (changes,)."""
    share, most = beside["stray_load_share"], beside["load_log"]
    width = np.full(len(_PLACES), sd)
    either = 0.5 * (_loaded(_PLACES, width, most) + _loaded(-_PLACES, width, most))
    return np.asarray((1 - share) * normal(_PLACES, sd) + share * either)
