"""What the spark at idle says: a controller that cannot shut out surplus air takes spark back
against it, and for a load it seldom does."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.density import normal

__all__ = ["Spark", "timing_density"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spark:
    """How far the spark stands below where it should be [deg], how sure that is, whether a
    reference or the family told it, and its density at an idle that strays."""

    drop_deg: float
    spread_deg: float
    told: bool
    odd: float

    def density(self, rises: Floats, target: float, table: Mapping[str, Any]) -> Floats:
        """Density of the spark beside each rise of idle [rpm]; same shape."""
        if not np.isfinite(self.drop_deg):
            return np.ones_like(rises)
        if self.told:
            return _retard_density(self.drop_deg, rises, table, self.spread_deg)
        return timing_density(self.drop_deg, rises / target, table, self.spread_deg)

    def loaded(self, way: float, rises: Floats, target: float, table: Mapping[str, Any]) -> Floats:
        """The same where a load takes spark back at times: the judged idle's (``way`` 1), the
        other's (-1) or neither's (0)."""
        steady = self.density(rises, target, table)
        if way == 0.0 or not np.isfinite(self.drop_deg):
            return steady
        share, most = table["load_retard_share"], table["load_retard_deg"]
        retards = way * most * (np.arange(3) + 0.5) / 3
        moved = [
            replace(self, drop_deg=self.drop_deg - retard).density(rises, target, table)
            for retard in retards
        ]
        return np.asarray((1 - share) * steady + share * np.mean(moved, axis=0))


def timing_density(
    drop_deg: float, rise_share: Floats, table: Mapping[str, Any], spread_deg: float
) -> Floats:
    """Density of how far the spark stands below a reference's, or below the usual [deg]: a
    controller that cannot shut out surplus air retards the spark against it; under a load it
    does not. ``spread_deg`` is how far either is from where it should be."""
    wander, most = float(table["wander_share"]), table["timing_drop_deg"]
    steady = (1.0 - wander) * normal(np.array(drop_deg), spread_deg)
    steady = steady + wander * normal(np.array(drop_deg), max(table["wander_deg"], spread_deg))
    drops = (np.arange(8) + 0.5) / 8.0 * most
    retarded = normal(drop_deg - drops, float(np.hypot(spread_deg, most / 16))).mean()
    seen = float(table["retard_share"])
    retarded = seen * retarded + (1.0 - seen) * steady
    return np.where(rise_share > 0.02, retarded, steady)


def _retard_density(
    drop_deg: float, rises_rpm: Floats, table: Mapping[str, Any], spread_deg: float
) -> Floats:
    """Density of how far the spark stands below where it should be [deg] beside each rise of idle
    that surplus air makes: idle spark is taken back in proportion to the rise, up to a limit, by
    most controllers. Same shape as ``rises_rpm``."""
    steady = float(timing_density(drop_deg, np.zeros(1), table, spread_deg)[0])
    least, most = table["retard_deg_per_rpm"]
    total = np.zeros(rises_rpm.shape)
    gains = np.geomspace(least, most, 6)
    for gain in gains:
        retard = np.minimum(gain * rises_rpm, table["retard_limit_deg"])
        # Half a step between two gains is left as doubt.
        doubt = np.hypot(spread_deg, 0.2 * retard)
        total += np.exp(-0.5 * ((drop_deg - retard) / doubt) ** 2) / (doubt * np.sqrt(2 * np.pi))
    seen = table["retard_share"]
    return np.asarray(seen * total / len(gains) + (1.0 - seen) * steady)
