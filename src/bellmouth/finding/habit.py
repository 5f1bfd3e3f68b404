"""How a family's cars idle when nothing is wrong: at which speed, spark and air.

None of these is told by one recording alone, because any two engines differ too much; beside other
cars of its family a retarded spark or too much air stands out. Where no family is known the broad
values of any car take their place, so that both answers are about the same readings.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Car, Known
from bellmouth.finding.density import normal
from bellmouth.finding.hypothesis import HasCoordinates, Scale, log_reads
from bellmouth.finding.idle_speed import SHARES, IdleSpeed, idle_speed, speed_rises, surplus_shares
from bellmouth.finding.lowest_idle import NEAR_RPM, lowest_idle
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors, load_priors
from bellmouth.finding.tables import between_both, places
from bellmouth.recording.medians import median

__all__ = ["Habit", "IdleAir", "any_habit", "idle_air", "idle_sides", "log_air_per_litre"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True)
class Habit:
    """Speed [rpm], spark [deg before top] and logarithm of air [g/s a litre at that speed] of a
    warm idle; None is not known."""

    rpm: Known | None
    timing_deg: Known | None
    log_air: Known | None


def any_habit(priors: Priors) -> Habit:
    """What is so of any car."""
    table = priors.idle_speed
    return Habit(None, Known(*table["any_timing_deg"]), Known(*table["any_log_air"]))


def idle_sides(
    observations: Observations,
    car: Car,
    priors: Priors,
    hypotheses: HasCoordinates,
    scale: Scale,
    habit: Habit | None,
) -> "tuple[IdleSpeed] | tuple[IdleSpeed, IdleAir]":
    """What the warm idle says: its speed alone, or speed, spark and air beside a habit."""
    if habit is None:
        alone = idle_speed(observations, car, priors, hypotheses, scale)
        # Beside a recording of the same car its own air is known better than any car's.
        if observations.beside or not observations.airflow_metered:
            return (alone,)
        return alone, idle_air(observations, priors, hypotheses, scale, any_habit(priors))
    speed = idle_speed(
        observations, car, priors, hypotheses, scale,
        usual_rpm=habit.rpm, usual_timing=habit.timing_deg,
    )  # fmt: skip
    return speed, idle_air(observations, priors, hypotheses, scale, habit)


@dataclass(frozen=True)
class IdleAir:
    """Log likelihood of the air that the engine gets at its lowest warm idle.

    ``log_air`` is as metered; NaN where nothing is. A leak and a meter's error change what the
    engine got of it, stale learning what it was given beyond its need.
    """

    log_air: float
    metered_g_s: float
    scale: Scale
    hypotheses: HasCoordinates
    places: Floats
    stale_log: Floats

    def __call__(self, which: Ints, sizes: Floats) -> Floats:
        """Log likelihood of hypotheses ``which`` (n,) at coordinates ``sizes`` (n, 2)."""
        if not np.isfinite(self.log_air):
            return np.zeros(len(which))
        got = self.log_air + self.correction(which, sizes)
        _, stale = surplus_shares(self.hypotheses, which, sizes, self.scale.idle_area_m2)
        return between_both(self.stale_log, places(stale, SHARES), places(got, self.places))

    def correction(self, which: Ints, sizes: Floats) -> Floats:
        """What is to be added to the metered logarithm for what the engine got, (n,)."""
        leak, _ = surplus_shares(self.hypotheses, which, sizes, self.scale.idle_area_m2)
        beside = np.log1p(leak * self.scale.idle_flow_g_s / self.metered_g_s)
        return np.asarray(beside - log_reads(self.hypotheses, "meter", which, sizes))


def log_air_per_litre(observations: Observations, table: Mapping[str, Any]) -> tuple[float, float]:
    """Logarithm of the metered air a litre at the lowest warm idle, and that air [g/s]; NaN where
    there is none."""
    o = observations
    chosen = o.idle & o.judged & np.isfinite(o.metered_kg_s)
    if not o.airflow_metered:
        return float("nan"), float("nan")
    lowest = lowest_idle(o, table, chosen)
    if not np.isfinite(lowest.speed_rpm):
        return float("nan"), float("nan")
    near = chosen & (np.abs(o.speed_rev_s * 60.0 - lowest.speed_rpm) < NEAR_RPM)
    metered = median(o.metered_kg_s[near]) * 1e3
    # Air goes with speed: friction and pumping are had once a turn.
    per_litre = metered / (o.displacement_m3 * 1e3) * 750.0 / lowest.speed_rpm
    return float(np.log(per_litre)), metered


def idle_air(
    observations: Observations,
    priors: Priors,
    hypotheses: HasCoordinates,
    scale: Scale,
    habit: Habit,
) -> IdleAir:
    """Prepare the likelihood for these recordings."""
    table = priors.idle_speed
    log_air, metered = log_air_per_litre(observations, table)
    usual = habit.log_air or Known(*table["any_log_air"])
    places, stale = _table(usual.value, usual.sd)
    return IdleAir(log_air, metered, scale, hypotheses, places, stale)


@cache
def _table(mean: float, sd: float) -> tuple[Floats, Floats]:
    """Logarithms of air, evenly spaced, and their log density at each share of surplus air."""
    table = load_priors().idle_speed
    places = np.linspace(mean - 2.0, mean + 2.0, 321)
    rises = speed_rises("stale", table, 1.0, airflow_metered=True)
    low, high = table["speed_power"]
    power = np.tile(np.linspace(low, high, 4)[:, None], (1, 8)).ravel()
    # Stale learning's surplus raises speed by a power of it; the rest is air beyond what a turn
    # needs, spent on a later spark.
    beyond = (1.0 / power - 1.0) * np.log1p(rises)
    density = _air_density(places - mean - beyond[:, :, None], sd, table)
    return places, np.asarray(np.log(density.mean(axis=1)))


def _air_density(off: Floats, sd: float, table: Mapping[str, Any]) -> Floats:
    """Density of the logarithm of air over the usual: under no load, or under some."""
    share, most = table["air_load_share"], table["air_load_log"]
    loads = (np.arange(4) + 0.5) / 4.0 * most
    alone = normal(off, sd)
    loaded = sum(normal(off - load, float(np.hypot(sd, most / 8.0))) for load in loads) / 4.0
    stray = table["stray_share"]
    return np.asarray((1 - stray) * ((1 - share) * alone + share * loaded) + stray / 2.5)
