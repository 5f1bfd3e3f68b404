"""What the plate's position says beside its area: with the key on it rests on its spring a little
above the idle opening, so an idle that stands above the rest is making up for something."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.density import normal
from bellmouth.finding.hypothesis import HasCoordinates, Scale
from bellmouth.finding.made_up import made_up_pct
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors
from bellmouth.recording.medians import median

__all__ = ["PlatePosition", "plate_position"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_MORE_OPEN_DEG = np.concatenate([-np.geomspace(12.0, 0.1, 16), [0.0], np.geomspace(0.1, 20.0, 24)])


@dataclass(frozen=True)
class PlatePosition:
    """Log likelihood of the plate's position at idle for any hypothesis and size."""

    log_density: Floats
    scale: Scale
    leak_closes: float
    stale_opens: float
    hypotheses: HasCoordinates
    informed: bool
    usual: tuple[float, float, float]  # opening [%], deposit's fade [%], % of reading a degree

    def __call__(self, which: Ints, sizes: Floats) -> Floats:
        """Log likelihood of hypotheses ``which`` (n,) at coordinates ``sizes`` (n, 2)."""
        if not self.informed:
            return np.zeros(len(which))
        own, fade, per_deg = self.usual
        deposit = np.exp(self.hypotheses.coordinate("deposit", which, sizes, -np.inf))
        pct = deposit / self.scale.slope_mm2_deg * per_deg
        more = made_up_pct(np.full(len(which), own), pct, np.full(len(which), fade)) / per_deg
        idle_mm2 = self.scale.idle_area_m2 * 1e6
        for name, gain_mm2 in (
            ("learned_stale", self.stale_opens * idle_mm2),
            ("leak", -self.leak_closes * 1e6),
        ):
            size = np.exp(self.hypotheses.coordinate(name, which, sizes, -np.inf))
            more += gain_mm2 * size / self.scale.slope_mm2_deg
        return np.interp(more, _MORE_OPEN_DEG, self.log_density)


def plate_position(
    observations: Observations,
    priors: Priors,
    hypotheses: HasCoordinates,
    scale: Scale,
    recordings: Sequence[int] = (0,),
) -> PlatePosition:
    """Prepare the likelihood from the key-on and relative readings of recordings in which the same
    is wrong, where reported: one car's plate has one rest, which several tell no better."""
    o, table = observations, priors.plate_position
    per_deg = table["pct_per_deg"]
    mine = o.idle & np.isin(o.recording, recordings)
    rests = o.rest_pct[list(recordings)]
    rests = rests[np.isfinite(rests)]
    idle = mine & np.isfinite(o.throttle_pct)
    total = np.zeros(len(_MORE_OPEN_DEG))
    informed = False
    if idle.any() and len(rests):
        lowest = np.flatnonzero(idle)[np.argmin(o.throttle_pct[idle])]
        if o.loads_off[lowest]:
            table = {**table, "load_share": priors.idle_speed["off_load_share"]}
        over = (median(rests) - float(o.throttle_pct[lowest])) / per_deg
        total += np.log(_rest_density(over, table["rest_deg"], table["rest_sd_deg"], table))
        informed = True
    relative = o.relative_pct[mine]
    # One that seems to count from the stop tells the opening itself, in the model.
    relative = relative[np.isfinite(relative) & ~np.isfinite(o.opening_pct[mine])]
    if len(relative):
        total += np.log(_relative_density(float(relative.min()) / per_deg, priors))
        informed = True
    closes, opens = float(table["leak_closes"]), float(table["stale_opens"])
    own, fade = (
        float(np.exp(priors.plate[name][0]))
        for name in ("log_idle_opening_pct", "log_deposit_fade_pct")
    )
    usual = own, fade, float(per_deg)
    return PlatePosition(total, scale, closes, opens, hypotheses, informed, usual)


def _spread(more: Floats, table: Mapping[str, Any]) -> Floats:
    """A degree's worth of area is known badly: equally likely draws around it, (more, draws)."""
    draws = np.exp(table["slope_log_sd"] * np.array([-1.3, -0.5, 0.0, 0.5, 1.3]))
    return np.asarray(more[:, None] * draws)


def _rest_density(over: float, highest: float, sd: float, table: Mapping[str, Any]) -> Floats:
    """Density of rest over idle [deg]: uniform up to the highest, less what idle is opened."""
    more = _spread(_MORE_OPEN_DEG, table)
    rests = (np.arange(9) + 0.5) / 9.0 * highest
    left = over + more[..., None] - rests
    density = normal(left, float(np.hypot(sd, highest / 30))).mean(axis=(1, 2))
    loaded = left[..., None] + (np.arange(4) + 0.5) / 4.0 * table["load_deg"]
    load = table["load_share"]
    density = (1 - load) * density + load * normal(loaded, sd).mean(axis=(1, 2, 3))
    stray = table["stray_share"]
    return np.asarray((1 - stray) * density + stray / 15.0)


def _relative_density(relative: float, priors: Priors) -> Floats:
    """Density of the relative reading at idle [deg]: its zero may be the stop, the learned idle or
    the spring rest, equally often."""
    table = priors.plate_position
    mean, sd = priors.plate["log_idle_opening_pct"]
    more = _spread(_MORE_OPEN_DEG, table)
    step = 0.4
    opening = np.exp(mean + sd * np.linspace(-1.8, 1.8, 9)) / table["pct_per_deg"]
    chance = np.exp(-0.5 * np.linspace(-1.8, 1.8, 9) ** 2)
    stop = (normal(relative - more[..., None] - opening, 0.6) * chance).sum(axis=2) / chance.sum()
    learned = np.full(more.shape, normal(np.array(relative), step))
    rests = (np.arange(9) + 0.5) / 9.0 * table["rest_deg"]
    reading = np.maximum(more[..., None] - rests, 0.0)
    rest = normal(relative - reading, step).mean(axis=2)
    stray = table["stray_share"]
    mixture = (stop + learned + rest).mean(axis=1) / 3.0
    return np.asarray((1 - stray) * mixture + stray / 15.0)
