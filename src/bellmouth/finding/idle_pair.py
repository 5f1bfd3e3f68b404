"""What the warm idle speeds of two recordings of one car say together: both come from one idle
that the car is held at, which nobody has to know."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Car
from bellmouth.finding.courses import AFTER, BEFORE, Courses
from bellmouth.finding.density import normal
from bellmouth.finding.hypothesis import Scale
from bellmouth.finding.idle_beside import air_change
from bellmouth.finding.idle_spark import timing_density
from bellmouth.finding.idle_speed import (
    SHARES,
    Surplus,
    speed_density,
    speed_rises,
    stale_air,
    stray_density,
    surplus_shares,
)
from bellmouth.finding.lowest_idle import Lowest, load_share, lowest_idle
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors
from bellmouth.finding.tables import between, places

__all__ = ["IdlePair", "idle_pair"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_KINDS: tuple[Surplus, Surplus] = ("leak", "stale")
_TARGETS = 49  # target speeds that are summed over
_RISEN = 0.02  # of the target: from there the spark is taken back


@dataclass(frozen=True)
class IdlePair:
    """Log likelihood of both idle speeds for any course and size.

    ``densities`` of each recording by kind of surplus, (targets, shares), weighed by how likely
    each target is; ``risen`` the shares from which the speed is up, by kind; ``timing`` the log
    density of the spark's change where both or neither are up, where only the one before is, and
    where only the one after is; ``spent`` what the air's change says of the size of stale learning
    that only one of them has, by share, (shares,) each.
    """

    weights: Floats
    densities: Mapping[tuple[int, Surplus], Floats]
    risen: Mapping[Surplus, float]
    timing: tuple[float, float, float]
    spent: tuple[Floats, Floats]
    idle_area_m2: float
    courses: Courses

    def __call__(self, which: Ints, sizes: Floats) -> Floats:
        """Log likelihood of courses ``which`` (n,) at coordinates ``sizes`` (n, 2)."""
        if not self.densities:
            return np.zeros(len(which))
        joint = np.repeat(self.weights[:, None], len(which), axis=1)
        up, stales = [], []
        for recording in (BEFORE, AFTER):
            seen = self.courses.seen_in(recording)
            leak, stale = surplus_shares(seen, which, sizes, self.idle_area_m2)
            share = leak + stale
            at = places(share, SHARES)
            by_leak, by_stale = (
                between(self.densities[recording, kind].T, at).T for kind in _KINDS
            )
            joint = joint * np.where(stale > 0, by_stale, by_leak)
            stales.append(stale)
            up.append(np.where(stale > 0, share > self.risen["stale"], share > self.risen["leak"]))
        steady, before, after = self.timing
        spark = np.where(up[0] == up[1], steady, np.where(up[0], before, after))
        alone = (stales[BEFORE] > 0) != (stales[AFTER] > 0)
        air = sum(
            np.where(alone & (stale > 0), np.interp(stale, SHARES, spent), 0.0)
            for stale, spent in zip(stales, self.spent, strict=True)
        )
        return np.asarray(np.log(joint.sum(axis=0)) + spark + air)


def idle_pair(
    observations: Observations, car: Car, priors: Priors, courses: Courses, scale: Scale
) -> IdlePair:
    """Prepare the likelihood for these recordings."""
    o = observations
    table = {**priors.idle_speed, "stale_closable": priors.proof["stale_closable"]}
    found = [lowest_idle(o, table, o.recording == number) for number in (BEFORE, AFTER)]
    if not all(np.isfinite(one.speed_rpm) for one in found):
        nothing = np.zeros(len(SHARES))
        return IdlePair(
            np.ones(1), {}, {}, (0.0, 0.0, 0.0), (nothing, nothing), scale.idle_area_m2, courses
        )
    good = lowest_idle(o, table, o.recording > AFTER)
    targets, weights = _targets(good, found, car, table)
    rises = {
        kind: np.stack(
            [
                speed_rises(kind, table, target, airflow_metered=o.airflow_metered)
                for target in targets
            ]
        )
        for kind in _KINDS
    }
    drawn = {
        (number, kind): _densities(one, targets, rise, table)
        for number, one in enumerate(found)
        for kind, rise in rises.items()
    }
    densities = {key: density.mean(axis=-1) for key, density in drawn.items()}
    middle = len(targets) // 2
    risen = {
        kind: float(np.interp(_RISEN * targets[middle], rise[middle].mean(axis=1), SHARES))
        for kind, rise in rises.items()
    }
    drop = found[AFTER].timing_deg - found[BEFORE].timing_deg
    timing = _timing(drop, table) if np.isfinite(drop) else (0.0, 0.0, 0.0)
    # Where one has stale learning, the other idles where it is held.
    calm = [densities[number, "stale"][:, 0] for number in (AFTER, BEFORE)]
    likely = [
        np.tensordot(weights * other, drawn[number, "stale"], 1)
        for number, other in zip((BEFORE, AFTER), calm, strict=True)
    ]
    spent = _spent(o, found, likely, table, priors)
    return IdlePair(weights, densities, risen, timing, spent, scale.idle_area_m2, courses)


def _spent(
    o: Observations,
    found: list[Lowest],
    likely: list[Floats],
    table: Mapping[str, Any],
    priors: Priors,
) -> tuple[Floats, Floats]:
    """What the change of air says of the size of stale learning before, and of that after.

    Whether the surplus is spent on speed or on a later spark, all of it is air that the engine is
    seen to get. What feedback has taken back is missing in the air and in the speed alike, so both
    are held against one share of it at a time: ``likely`` is what the speeds say, (shares, draws).
    Whether there is any surplus, speed and spark say: over the sizes that they leave likely this is
    nothing.
    """
    nothing = np.zeros(len(SHARES))
    masks = [o.recording == number for number in (BEFORE, AFTER)]
    change = air_change(o, (masks[AFTER], found[AFTER]), (masks[BEFORE], found[BEFORE]), priors)
    if not np.isfinite(change.log):
        return nothing, nothing
    more = change.log + float(np.log(found[AFTER].speed_rpm / found[BEFORE].speed_rpm))
    left = stale_air(table)
    low, high = np.exp(priors.sizes["learned_stale"])
    asked = (low <= SHARES) & (high >= SHARES)
    doubt = priors.idle_beside["spent_doubt"]

    def told(seen: float, weight: Floats) -> Floats:
        by_size = weight.sum(axis=1)
        density = (normal(seen - left, change.sd) * weight).sum(axis=1) / np.maximum(
            by_size, 1e-300
        )
        usual = float(density[asked] @ by_size[asked] / by_size[asked].sum())
        density = (1 - doubt) * density / max(usual, 1e-300) + doubt
        return np.asarray(np.log(density))

    return told(-more, likely[BEFORE]), told(more, likely[AFTER])


def _targets(
    good: Lowest, found: list[Lowest], car: Car, table: Mapping[str, Any]
) -> tuple[Floats, Floats]:
    """Target speeds [rpm] and how likely each is: from a recording when good, from what the maker
    says, or any that cars are held at."""
    known = float(table["known_sd_rpm"])
    if np.isfinite(good.speed_rpm):
        targets = good.speed_rpm + np.linspace(-4.0, 4.0, _TARGETS) * 2.0 * known
        weights = normal(targets - good.speed_rpm, 1.4 * known)
    elif car.idle_rpm is not None:
        middle, sd = car.idle_rpm.value, float(np.hypot(known, car.idle_rpm.sd))
        targets = middle + np.linspace(-3.0, 3.0, _TARGETS) * float(table["off_rpm"])
        off = float(table["off_share"])
        weights = (1 - off) * normal(targets - middle, sd)
        weights = weights + off * normal(targets - middle, float(table["off_rpm"]))
    else:
        middle, sd = table["unknown_rpm"]
        lowest = min(one.speed_rpm for one in found)
        targets = np.linspace(min(lowest - 60.0, middle - 2.0 * sd), lowest + 60.0, _TARGETS)
        weights = normal(targets - middle, sd)
    return targets, np.asarray(weights / weights.sum())


def _densities(one: Lowest, targets: Floats, rises: Floats, table: Mapping[str, Any]) -> Floats:
    """Density of a recording's idle speed by target, share of surplus and what it raises the speed
    by, (targets, shares, draws)."""
    shares = {"off": 0.0, "load": load_share(one, table), "target load": 0.0}
    sd = float(np.hypot(float(table["known_sd_rpm"]), 0.5 * one.warming_rpm))
    stray = float(table["stray_share"])
    rows = []
    for target, rise in zip(targets, rises, strict=True):
        over = float(one.speed_rpm - 0.5 * one.warming_rpm - target)
        known = speed_density(over - rise, sd, shares, table)
        rows.append((1 - stray) * known + stray * stray_density(over, table))
    return np.stack(rows)


def _timing(drop_deg: float, table: Mapping[str, Any]) -> tuple[float, float, float]:
    """Log density of the spark's change since before: steady, taken back before, or after."""
    calm, up = np.zeros(1), np.ones(1)
    spread = float(table["timing_sd_deg"])
    steady = timing_density(drop_deg, calm, table, spread)
    before = timing_density(drop_deg, up, table, spread)
    after = timing_density(-drop_deg, up, table, spread)
    log = np.log(np.concatenate([steady, before, after]))
    return float(log[0]), float(log[1]), float(log[2])
