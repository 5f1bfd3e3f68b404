"""What the calculated load says of one recording alone, on a car that meters pressure.

It is the air that the controller computes over the most that the engine breathes at that speed, so
over the manifold's pressure it says how filling at idle stands to filling at full load. That is
known within a fifth for any engine; a false computation of air moves it, short fuel does not. Some
controllers show the manifold pressure under that name, and then it says nothing.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.density import normal
from bellmouth.finding.false_pressure import Way, ways
from bellmouth.finding.hypothesis import HasCoordinates, log_reads
from bellmouth.finding.lowest_idle import NEAR_RPM, lowest_idle
from bellmouth.finding.observations import Observations
from bellmouth.finding.priors import Priors
from bellmouth.recording.medians import median

__all__ = ["LoadLevel", "load_level"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_STRAY_WIDTH = 2.0  # natural logarithms that a load of another kind may stand anywhere in


@dataclass(frozen=True)
class LoadLevel:
    """Log likelihood of the load's level at idle for any hypothesis and size.

    ``log_over`` is the load over the share of outside pressure that the manifold is at, less what
    is expected of it; NaN where that was not recorded. ``log_share`` is the same less nothing: 0
    where the load is the pressure. ``sd`` is how far engines and makers differ.
    """

    log_over: float
    log_share: float
    sd: float
    pressure_sd: float
    follows: float
    stray: float
    ways: tuple[Way, ...]
    hypotheses: HasCoordinates

    def __call__(self, which: Ints, sizes: Floats) -> Floats:
        """Log likelihood of hypotheses ``which`` (n,) at coordinates ``sizes`` (n, 2)."""
        if not np.isfinite(self.log_over):
            return np.zeros(len(which))
        false = log_reads(self.hypotheses, "meter", which, sizes)
        # What a false pressure moves, it moves in the load and in the pressure read beside it.
        own = sum(
            way.share * normal(self.log_over - (1.0 - way.part) * false, self.sd)
            for way in self.ways
        )
        pressure = normal(np.full(len(which), self.log_share), self.pressure_sd)
        told = self.follows * own + (1.0 - self.follows) * pressure
        return np.asarray(np.log((1.0 - self.stray) * told + self.stray / _STRAY_WIDTH))


def load_level(observations: Observations, priors: Priors, hypotheses: HasCoordinates) -> LoadLevel:
    """Prepare the likelihood from the lowest warm idle of a recording that stands alone."""
    o, table = observations, priors.load_level
    log_over, log_share, sd = float("nan"), float("nan"), float("nan")
    # Beside a reference the load's change says more; an airflow that is told is in the model.
    told = o.airflow_metered or o.beside or bool(np.isfinite(o.computed_kg_s).any())
    good = o.idle & (o.load_pct > 0) & np.isfinite(o.manifold_pa)
    lowest = None if told else lowest_idle(o, priors.idle_speed, good)
    if lowest is not None and np.isfinite(lowest.speed_rpm):
        near = good & (np.abs(o.speed_rev_s * 60.0 - lowest.speed_rpm) < NEAR_RPM)
        pressure, load = (median(v[near]) for v in (o.manifold_pa, o.load_pct))
        unknown_pa, unknown_sd = (x * 1e3 for x in priors.weather["barometric_kpa"])
        known = np.isfinite(o.ambient_pa[near]).all()
        ambient = median(o.ambient_pa[near]) if known else unknown_pa
        log_share = float(np.log(load / 100.0 * ambient / pressure))
        expected, spread = table["log_share"]
        log_over = log_share - expected
        sd = float(np.hypot(spread, 0.0 if known else unknown_sd / unknown_pa))
    return LoadLevel(
        log_over, log_share, sd, table["pressure_log_sd"],
        priors.load_reading["follows"], table["stray_share"], ways(o, priors), hypotheses,
    )  # fmt: skip
