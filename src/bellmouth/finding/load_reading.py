"""What the calculated load says beside a reference of the same car.

A controller that meters pressure shows in its load how much air it believes the engine breathes.
What it is a share of differs from engine to engine, so one recording says nothing; at the same
pressure and speed on another day only a false computation moves it. Some controllers merely
show the manifold pressure under that name, and then it says nothing at all.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.hypothesis import HasCoordinates
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors

__all__ = ["LoadReading", "load_reading"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

# How the load goes with each, and how far from that it may: it may be pressure and nothing else,
# or air over what the engine breathes at most, filling rising with pressure over the exhaust's.
# Each power stands between the two (common practice, no source); the doubts were widened once,
# after a false alarm on practice variant B.
_MANIFOLD_POWER, _MANIFOLD_DOUBT = 1.25, 0.3
_KELVIN_POWER, _KELVIN_DOUBT = -0.25, 0.25
_AMBIENT_POWER, _AMBIENT_DOUBT = -0.75, 0.6
_SPEED_DOUBT = 0.3


@dataclass(frozen=True)
class LoadReading:
    """Log likelihood of the load beside a reference's for any hypothesis and size.

    ``log_ratio`` is the load over the reference's, at the same pressure; NaN where that was not
    recorded. ``sd`` is how well the two can be compared, ``follows`` the share of controllers
    whose load is the air they compute.
    """

    log_ratio: float
    sd: float
    follows: float
    stray: float
    hypotheses: HasCoordinates

    def __call__(self, which: Ints, sizes: Floats) -> Floats:
        """Log likelihood of hypotheses ``which`` (n,) at coordinates ``sizes`` (n, 2)."""
        if not np.isfinite(self.log_ratio):
            return np.zeros(len(which))
        low = self.hypotheses.coordinate("meter_low", which, sizes)
        high = self.hypotheses.coordinate("meter_high", which, sizes)
        false = np.nan_to_num(high) - np.nan_to_num(low)
        own = np.exp(-0.5 * ((self.log_ratio - false) / self.sd) ** 2)
        pressure = np.exp(-0.5 * (self.log_ratio / self.sd) ** 2)
        return np.asarray(np.log(self.follows * own + (1 - self.follows) * pressure + self.stray))


def load_reading(
    observations: Observations, priors: Priors, hypotheses: HasCoordinates
) -> LoadReading:
    """Prepare the likelihood from the most alike points of the judged recording and a reference."""
    o, table = observations, priors.load_reading
    log_ratio, sd = float("nan"), float("nan")
    good = np.isfinite(o.load_pct) & (o.load_pct > 0) & np.isfinite(o.manifold_pa)
    now, then = (np.flatnonzero(good & mask) for mask in (o.judged, ~o.judged))
    # Where the computed airflow itself is told it is compared in the model.
    told = bool(np.isfinite(o.computed_kg_s).any()) or o.airflow_metered
    if not told and len(now) and len(then):
        mean_kpa, sd_kpa = priors.weather["barometric_kpa"]
        ratios, sds = _compared(o, now, then, table["log_sd"], sd_kpa / mean_kpa)
        place = int(np.argmin(sds))
        log_ratio, sd = float(ratios.flat[place]), float(sds.flat[place])
    return LoadReading(log_ratio, sd, table["follows"], table["stray_share"], hypotheses)


def _compared(
    o: Observations, now: Ints, then: Ints, log_sd: float, ambient_log_sd: float
) -> tuple[Floats, Floats]:
    """Load of each point now over that of each then, at the same pressure, as a logarithm, and
    how far off that may be without a fault: (now, then) both."""

    def change(value: Floats) -> Floats:
        return np.asarray(np.log(value[now][:, None] / value[then]))

    pressure, kelvin = change(o.manifold_pa), change(o.intake_k)
    ambient = np.nan_to_num(change(o.ambient_pa))
    expected = _MANIFOLD_POWER * pressure + _KELVIN_POWER * kelvin + _AMBIENT_POWER * ambient
    reading = _MANIFOLD_POWER * o.manifold_error_pa / o.manifold_pa
    unknown = np.where(np.isfinite(o.ambient_pa), 0.0, -_AMBIENT_POWER * ambient_log_sd)
    variance = (
        log_sd**2
        + (_MANIFOLD_DOUBT * pressure) ** 2
        + (_KELVIN_DOUBT * kelvin) ** 2
        + (_AMBIENT_DOUBT * ambient) ** 2
        + (_SPEED_DOUBT * change(o.speed_rev_s)) ** 2
        + sum(part[now][:, None] ** 2 + part[then] ** 2 for part in (reading, unknown))
    )
    return change(o.load_pct) - expected, np.sqrt(variance)
