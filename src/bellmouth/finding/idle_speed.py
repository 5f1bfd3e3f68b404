"""What the warm idle speed says: air that the controller cannot take back makes the engine idle
high, and so does a load, so the likelihood is a mixture and not a Gaussian."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.car.description import Car
from bellmouth.finding.hypothesis import Hypotheses, Scale
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors

__all__ = ["IdleSpeed", "idle_speed"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_HIGHEST_IDLE_RPM = 1300.0
_SHORTEST_SHARE = 0.12
_SHARES = np.concatenate([[0.0], np.geomspace(0.04, 0.85, 23)])


@dataclass(frozen=True)
class IdleSpeed:
    """Log likelihood of the idle speed for any hypothesis and size.

    ``excess_rpm`` is the lowest warm idle over its target; NaN where either is unknown.
    """

    excess_rpm: float
    leak_log: Floats
    stale_log: Floats
    idle_area_m2: float
    hypotheses: Hypotheses

    def __call__(self, which: Ints, sizes: Floats) -> Floats:
        """Log likelihood of hypotheses ``which`` (n,) at coordinates ``sizes`` (n, 2)."""
        if not np.isfinite(self.excess_rpm):
            return np.zeros(len(which))
        leak, stale = self._shares(which, sizes)
        as_stale = stale > 0
        share = leak + stale
        result = np.interp(share, _SHARES, self.leak_log)
        return np.where(as_stale, np.interp(share, _SHARES, self.stale_log), result)

    def _shares(self, which: Ints, sizes: Floats) -> tuple[Floats, Floats]:
        leak, stale = np.zeros(len(which)), np.zeros(len(which))
        for place in (0, 1):
            for name, into, unit in (
                ("leak", leak, self.idle_area_m2),
                ("learned_stale", stale, 1.0),
            ):
                chosen = self.hypotheses.holds(name, place)[which]
                into[chosen] += np.exp(sizes[chosen, place]) / unit
        return leak, stale


def idle_speed(
    observations: Observations,
    car: Car,
    priors: Priors,
    hypotheses: Hypotheses,
    scale: Scale,
) -> IdleSpeed:
    """Prepare the likelihood for these recordings."""
    table = priors.idle_speed
    speed, levels = _lowest(observations, judged=True)
    target, sd, off_share = _target(observations, car, priors)
    load_share = table["load_share_two_levels"] if levels > 1 else table["load_share"]
    excess = speed - target

    def log_density(closable: tuple[float, float]) -> Floats:
        left = excess - _rises(closable, table, target)
        return _log_mixture(left, sd, off_share, load_share, table)

    return IdleSpeed(
        excess_rpm=float(excess),
        leak_log=log_density(tuple(table["leak_closable"])),
        stale_log=log_density(tuple(table["stale_closable"])),
        idle_area_m2=scale.idle_area_m2,
        hypotheses=hypotheses,
    )


def _lowest(observations: Observations, *, judged: bool) -> tuple[float, int]:
    """Lowest warm idle speed [rpm] of the judged recording (or of the references) and how many
    levels it idled at."""
    o = observations
    mask = o.idle & (o.judged == judged) & (o.speed_rev_s * 60.0 < _HIGHEST_IDLE_RPM)
    if not mask.any():
        return float("nan"), 0
    order = np.argsort(o.speed_rev_s[mask])
    speeds = o.speed_rev_s[mask][order] * 60.0
    seconds = (o.end_s - o.start_s)[mask][order]
    # A dip that lasts a moment is not where the engine idles.
    share = np.cumsum(seconds) / seconds.sum()
    lowest = speeds[np.argmax(share > _SHORTEST_SHARE)]
    lasting = speeds[(seconds > _SHORTEST_SHARE * seconds.sum()) & (speeds >= lowest)]
    return float(lowest), 1 + int(np.sum(np.diff(lasting) > 30.0))


def _target(observations: Observations, car: Car, priors: Priors) -> tuple[float, float, float]:
    """Idle speed to expect [rpm], its sd, and the share of cars that idle off it."""
    table = priors.idle_speed
    known = float(table["known_sd_rpm"])
    reference, _ = _lowest(observations, judged=False)
    if np.isfinite(reference):
        return reference, 1.4 * known, 0.05
    if car.idle_rpm is not None:
        return (
            car.idle_rpm.value,
            float(np.hypot(known, car.idle_rpm.sd)),
            float(table["off_share"]),
        )
    mean, sd = table["unknown_rpm"]
    return float(mean), float(sd), 0.0


def _rises(closable: tuple[float, float], table: Mapping[str, Any], target: float) -> Floats:
    """Speeds [rpm] that each share of surplus air may add, equally likely draws: (shares, draws).

    With a share f of all idle air in surplus and c of normal idle air given up by the plate, the
    air left over normal is (f - c) / (1 - f); learning gives up a part of the surplus instead.
    """
    low, high = table["speed_power"]
    give, power = np.meshgrid(np.linspace(*closable, 8), np.linspace(low, high, 4))
    share = _SHARES[:, None]
    give = np.asarray(give.reshape(1, -1))
    if closable == tuple(table["leak_closable"]):
        left = np.maximum(share - give, 0.0) / (1.0 - share)
    else:
        left = share * (1.0 - give) / (1.0 - share * (1.0 - give))
    rise: Floats = target * ((1.0 + left) ** power.ravel() - 1.0)
    return rise


def _log_mixture(
    left: Floats, sd: float, off_share: float, load_share: float, table: Mapping[str, Any]
) -> Floats:
    """Log density of what the rises leave (shares, draws), averaged over the draws."""
    loads = (np.arange(6) + 0.5) / 6.0 * table["load_rpm"]
    wide = table["load_rpm"] / 12.0
    off = table["off_rpm"]
    density = (1 - load_share) * (
        (1 - off_share) * _normal(left, sd) + off_share * _normal(left, float(np.hypot(sd, off)))
    )
    loaded = left[..., None] - loads
    density += load_share * np.mean(
        (1 - off_share) * _normal(loaded, float(np.hypot(sd, wide)))
        + off_share * _normal(loaded, float(np.sqrt(sd**2 + wide**2 + off**2))),
        axis=-1,
    )
    stray = table["stray_share"]
    return np.asarray(np.log((1 - stray) * density.mean(axis=-1) + stray / 900.0))


def _normal(x: Floats, sd: float) -> Floats:
    result: Floats = np.exp(-0.5 * (x / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
    return result
